// SPDX-License-Identifier: MIT
#include "matrix.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "paper.h"
#include "soakledger/books.h"
#include "soakledger/certificate.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)
#define D   (24 * H)
// 2026-11-16T07:00:00Z
#define START_MS INT64_C(1794812400000)

enum { PATH_BYTES = 256, TEXT_BYTES = 4096, CONFIG_BYTES = 65536, CHANNELS_MOST = 40, LOADS_MOST = 16 };
enum { READINGS = 300, VISITS = 2, NAMES_PER_KIND = 4 };
enum { MET, NOT_MET, NOT_PROVEN };

static const char *const units[] = {"C", "F"}, *const papers[] = {"A4", "Letter"};
static const size_t channel_counts[] = {1, 2, 3, 8, 12, 20, 40};
static const struct {
    const char *words;
    int64_t ms;
} durations[] = {{"5 min", 5 * MIN}, {"2 h", 2 * H}, {"12 h", 12 * H}, {"3 d", 3 * D}, {"10 d", 10 * D}};
static const char *const outcomes[] = {"met", "not met", "not proven"};
enum { KIND_SHORT, KIND_LONG };
static const struct {
    const char *words;
    const char *names[NAMES_PER_KIND]; // people and firms, things, places, sentences
} kinds[] = {
    {"short", {"Joinery", "8 irons", "rack", "in order"}},
    {"long", {"", "", "at the far end of the upper rack and left of the door", ""}}, // made in long_name
    {"Han", {"東京工具製作所", "鑿と鉋の刃 한국어", "上段の奥", "冷却油 ひらがな"}},
    {"right to left", {"مصنع الأدوات", "سكاكين 12 שלום", "בית מלאכה", "שבבים נקיים (A2)"}},
    {"combining",
     {"Za\xCC\x87o\xCC\x81\xC5\x82\xC4\x87", "e\xCC\x81le\xCC\x80ve a\xCC\x8A", "ba\xCC\x84n x\xCC\xA3",
      "q\xCC\x83 n\xCC\x83o"}},
    {"emoji",
     {"\xF0\x9F\x94\xA5 Fire & Co", "\xF0\x9F\x91\xA9\xE2\x80\x8D\xF0\x9F\x94\xA7 tools", "rack \xE2\x98\x83",
      "ok \xF0\x9F\x91\x8D\xF0\x9F\x91\x8D हि"}},
};

const size_t matrix_levels[MATRIX_FACTORS] = {
    sizeof units / sizeof units[0],
    sizeof papers / sizeof papers[0],
    sizeof channel_counts / sizeof channel_counts[0],
    sizeof durations / sizeof durations[0],
    sizeof kinds / sizeof kinds[0],
    sizeof outcomes / sizeof outcomes[0],
};

char *matrix_describe(const struct matrix_case *of, char out[MATRIX_WORDS_BYTES]) {
    snprintf(out, MATRIX_WORDS_BYTES, "°%s %s, %zu channels, %s, names %s, %s", units[of->level[MATRIX_UNITS]],
             papers[of->level[MATRIX_PAPERS]], channel_counts[of->level[MATRIX_CHANNELS]],
             durations[of->level[MATRIX_DURATIONS]].words, kinds[of->level[MATRIX_NAMES]].words,
             outcomes[of->level[MATRIX_OUTCOMES]]);
    return out;
}

size_t matrix_count(void) {
    size_t count = 1;

    for (size_t i = 0; i < MATRIX_FACTORS; i++)
        count *= matrix_levels[i];
    return count;
}

void matrix_case_at(size_t index, struct matrix_case *of) {
    for (size_t i = 0; i < MATRIX_FACTORS; i++) {
        of->level[i] = index % matrix_levels[i];
        index /= matrix_levels[i];
    }
}

/* ---- pairs ---- */

enum { LEVELS_MOST = 8 };
struct pairs {
    bool met[MATRIX_FACTORS][LEVELS_MOST][MATRIX_FACTORS][LEVELS_MOST];
};

/* How many pairs of a case no case before it had; marks them. */
static size_t pairs_take(struct pairs *pairs, const struct matrix_case *of, bool mark) {
    size_t fresh = 0;

    for (size_t i = 0; i < MATRIX_FACTORS; i++)
        for (size_t k = i + 1; k < MATRIX_FACTORS; k++) {
            bool *met = &pairs->met[i][of->level[i]][k][of->level[k]];

            fresh += !*met;
            *met = *met || mark;
        }
    return fresh;
}

struct matrix_case *matrix_pairs(size_t *count) {
    const size_t all = matrix_count();
    struct matrix_case *cases = calloc(all, sizeof *cases);
    struct pairs *pairs = calloc(1, sizeof *pairs);

    if (cases == NULL || pairs == NULL)
        abort();
    for (*count = 0;; ++*count) { // greedily: always the one with the most pairs that are still missing
        struct matrix_case best = {{0}};
        size_t most = 0;

        for (size_t i = 0; i < all; i++) {
            struct matrix_case of;
            size_t fresh;

            matrix_case_at(i, &of);
            fresh = pairs_take(pairs, &of, false);
            if (fresh > most) {
                most = fresh;
                best = of;
            }
        }
        if (most == 0)
            break;
        pairs_take(pairs, &best, true);
        cases[*count] = best;
    }
    free(pairs);
    return cases;
}

/* ---- what is written into configuration, plan and books ---- */

enum name { NAME_FIRM, NAME_THING, NAME_PLACE, NAME_SENTENCE };

struct scene {
    const struct matrix_case *of;
    size_t channels, loads;
    int64_t duration_ms, interval_ms;
    char names[NAMES_PER_KIND][TEXT_BYTES];
    char config_path[PATH_BYTES], ledger_path[PATH_BYTES], plan[TEXT_BYTES];
    struct config *config;
    struct ledger *ledger;
    int64_t oven_id, channel_ids[CHANNELS_MOST], batch_id, end_ms;
    FILE *expected;
};

static void scene_fail(const char *doing, const struct fault *fault) {
    fprintf(stderr, "matrix: %s: %s\n", doing, fault != NULL ? fault->text : "failed");
    abort();
}

static void scene_check(int64_t result, const char *doing, const struct fault *fault) {
    if (result < 0)
        scene_fail(doing, fault);
}

/* Words without end for a firm, one word without end for a thing, sentences for a note. */
static void long_name(enum name name, char *out) {
    size_t used = 0;

    switch (name) {
    case NAME_FIRM:
        for (int i = 0; i < 14; i++)
            used += (size_t)sprintf(out + used, "%sHobelmesserschmiede No. %d", i > 0 ? " & " : "", i);
        return;
    case NAME_THING:
        for (int i = 0; i < 30; i++)
            used += (size_t)sprintf(out + used, "Stechbeitel%02d", i);
        return;
    case NAME_SENTENCE:
        for (int i = 0; i < 45; i++)
            used += (size_t)sprintf(out + used, "%sSentence %d says nothing, at length.", i > 0 ? " " : "", i);
        return;
    case NAME_PLACE: break;
    }
}

static const char *scene_name(const struct scene *scene, enum name name) {
    return scene->names[name];
}

static void scene_expect(struct scene *scene, const char *text) {
    for (; *text != '\0'; text++)
        if (*text == '\n')
            fputs("\\n", scene->expected);
        else
            fputc(*text, scene->expected);
    fputc('\n', scene->expected);
}

static const char *channel_role(const struct scene *scene, size_t index) {
    if (index == 0)
        return "control";
    if (index <= scene->loads)
        return "load";
    if (index == scene->loads + 1)
        return "setpoint";
    if (index == scene->loads + 2)
        return "output";
    return index <= scene->loads + 2 + LOADS_MOST ? "quench" : "ambient";
}

/* One or two channels have no setpoint; a charge has at most sixteen. */
static size_t count_loads(size_t channels) {
    if (channels <= 3)
        return channels - 1;
    return channels - 3 < LOADS_MOST ? channels - 3 : LOADS_MOST;
}

static void scene_write_config(struct scene *scene) {
    FILE *file = fopen(scene->config_path, "w");
    char name[CHANNEL_NAME_BYTES];

    if (file == NULL)
        scene_fail("config", NULL);
    fprintf(file,
            "[ledger]\npath = %s\n[shop]\nname = %.180s\naddress = %.180s\nunits = %s\npaper = %s\nutc_offset = "
            "+05:45\n",
            scene->ledger_path, scene_name(scene, NAME_FIRM), scene_name(scene, NAME_PLACE),
            units[scene->of->level[MATRIX_UNITS]], papers[scene->of->level[MATRIX_PAPERS]]);
    fprintf(file,
            "[line bench]\ndevice = /dev/serial/by-id/invented\n[instrument kiln]\nline = bench\naddress = 1\n"
            "[oven kiln]\n");
    for (size_t i = 1; i <= scene->loads; i++)
        fprintf(file, "[sensor T-%zu]\ntype = N\ntolerance = class 1\n", i);
    for (size_t i = 0; i < scene->channels; i++) {
        snprintf(name, sizeof name, "%.40s %zu", scene_name(scene, NAME_PLACE), i + 1);
        while (strlen(name) > sizeof name - 6) // "kiln." and the terminator
            name[strlen(name) - 1] = '\0';
        fprintf(file,
                "[channel kiln.%s]\nrole = %s\ninstrument = kiln\nfunction = 4\nregister = %zu\ndecimals = 1\n",
                name, channel_role(scene, i), i);
        if (strcmp(channel_role(scene, i), "output") != 0)
            fputs("unit = C\n", file);
        if (strcmp(channel_role(scene, i), "load") == 0)
            fprintf(file, "sensor = T-%zu\n", i);
        fprintf(file, "interval = %lld s\n", (long long)(scene->interval_ms / S));
        scene_expect(scene, name);
    }
    if (fclose(file) != 0)
        scene_fail("config", NULL);
}

/* Soak and temper of two fifths of the duration each; the temper may be missed or torn by a gap. */
static void scene_write_plan(struct scene *scene) {
    const long long soak_s = scene->duration_ms * 2 / 5 / S;
    char cut[TEXT_BYTES], warm[MATRIX_WORDS_BYTES];

    // Without a sensor in the charge nobody sees it cool.
    snprintf(warm, sizeof warm, "handle_warm_within = %lld s\n", (long long)(scene->duration_ms / S));

    snprintf(scene->plan, sizeof scene->plan,
             "[plan]\ntitle = %.180s\nsteel = %.180s\n%s\n%s\n"
             "[soak hardening]\ntemperature = 808 C\nbelow = 8 C\nabove = 8 C\ntime_at_least = %lld s\n%s"
             "[quench oil]\nmedium = %.180s\nmay_attest = yes\n%s"
             "[temper low]\ntemperature = 190 C\nbelow = 6 C\nabove = 8 C\ntime_at_least = %lld s\n"
             "parts_below_first = 60 C\nequivalent_at_least = 10 s\n",
             scene_name(scene, NAME_THING), scene_name(scene, NAME_PLACE),
             scene->loads == 0 ? "load = control\nlag_allowance = 1 s" : "load = sensors",
             scene->of->level[MATRIX_UNITS] == 0 ? "decision = guarded" : "decision = simple", soak_s,
             scene->loads > 1 ? "spread_at_most = 5 C\n" : "", scene_name(scene, NAME_PLACE),
             scene->loads > 0 ? warm : "", soak_s);
    snprintf(cut, sizeof cut, "%.180s", scene_name(scene, NAME_THING));
    scene_expect(scene, cut);
    snprintf(cut, sizeof cut, "%.180s", scene_name(scene, NAME_FIRM));
    scene_expect(scene, cut);
}

/* ---- readings ---- */

struct shape {
    int64_t begun_ms, top_mc, rise_ms, level_ms, fall_ms, gap_from_ms, gap_ms;
};

static int64_t shape_value(const struct shape *shape, int64_t t_ms) {
    enum { COLD_MC = 22000 };
    const int64_t span = shape->top_mc - COLD_MC;
    int64_t since = t_ms - shape->begun_ms;

    if (since < shape->rise_ms)
        return COLD_MC + span * since / shape->rise_ms;
    since -= shape->rise_ms;
    if (since < shape->level_ms)
        return shape->top_mc + 1000 * (since / S % 3 - 1) / 2;
    since -= shape->level_ms;
    return since < shape->fall_ms ? shape->top_mc - span * since / shape->fall_ms : COLD_MC;
}

static void scene_read(struct scene *scene, const struct shape *shape, size_t channel, int64_t t_ms) {
    const int64_t since = t_ms - shape->begun_ms;
    struct reading reading = {t_ms, shape_value(shape, t_ms) + (int64_t)channel * 50, scene->channel_ids[channel],
                              QUALITY_GOOD};
    struct fault fault;

    if (strcmp(channel_role(scene, channel), "output") == 0)
        reading.value = 20000;
    if (strcmp(channel_role(scene, channel), "ambient") == 0)
        reading.value = 19000 + (int64_t)channel * 100;
    if (shape->gap_ms > 0 && since >= shape->gap_from_ms && since < shape->gap_from_ms + shape->gap_ms &&
        channel < 2)
        reading = (struct reading){t_ms, 0, scene->channel_ids[channel], QUALITY_NO_REPLY};
    scene_check(ledger_add_reading(scene->ledger, &reading, &fault), "reading", &fault);
}

static void scene_record(struct scene *scene, size_t visit, int64_t begun_ms) {
    const int64_t d = scene->duration_ms;
    const size_t outcome = visit == 1 ? scene->of->level[MATRIX_OUTCOMES] : MET;
    const struct shape shape = {.begun_ms = begun_ms,
                                .top_mc = visit == 0 ? 808000 : 190000,
                                .rise_ms = d * 3 / 10,
                                .level_ms = outcome == NOT_MET ? d / 5 : d / 2,
                                .fall_ms = d / 10,
                                .gap_from_ms = d / 2,
                                .gap_ms = outcome == NOT_PROVEN ? 8 * scene->interval_ms : 0};
    struct fault fault;
    int64_t run_id;

    scene->end_ms = begun_ms + d;
    scene_check(ledger_begin(scene->ledger, &fault), "run", &fault);
    run_id = ledger_open_run(scene->ledger, scene->oven_id, begun_ms, &fault);
    scene_check(run_id, "run", &fault);
    for (size_t i = 0; i < scene->channels; i++)
        for (int64_t t = begun_ms; t <= scene->end_ms; t += scene->interval_ms)
            scene_read(scene, &shape, i, t);
    scene_check(ledger_end_run(scene->ledger, run_id, scene->end_ms, RUN_END_COLD, &fault), "run", &fault);
    scene_check(ledger_commit(scene->ledger, &fault), "run", &fault);
    scene_check(ledger_claim_run(scene->ledger, run_id, scene->batch_id, visit, scene->end_ms, "daemon", &fault),
                "claim", &fault);
}

/* ---- batch and books ---- */

static void scene_open_batch(struct scene *scene) {
    static char plan_name[] = "shop.plan";
    struct ledger_batch batch = {.opened_ms = START_MS, .oven_id = scene->oven_id, .plan_name = plan_name};
    struct fault fault;

    batch.charge = scene->names[NAME_THING];
    batch.customer = scene->names[NAME_FIRM];
    batch.order_reference = scene->names[NAME_THING];
    batch.operator_name = scene->names[NAME_PLACE];
    batch.note = scene->names[NAME_SENTENCE];
    batch.plan_text = scene->plan;
    batch.plan_length = strlen(scene->plan);
    ledger_sha256(scene->plan, batch.plan_length, batch.plan_sha256);
    scene->batch_id = ledger_open_batch(scene->ledger, &batch, &fault);
    scene_check(scene->batch_id, "batch", &fault);
    for (size_t i = 0; i < NAMES_PER_KIND; i++)
        scene_expect(scene, scene->names[i]);
}

static void scene_add_books(struct scene *scene) {
    const struct ledger_attestation said = {0, scene->end_ms, scene->end_ms, scene->names[NAME_FIRM],
                                            scene->names[NAME_SENTENCE]};
    struct books_disposition disposition = {.decision = BOOKS_ACCEPT, .said_ms = scene->end_ms};
    struct books_hardness hardness = {
        .value = 60500, .uncertainty = 500, .measured_ms = scene->end_ms, .said_ms = scene->end_ms};
    struct books_amendment amendment = {.entry = BOOKS_CUSTOMER, .said_ms = scene->end_ms};
    static char scale[] = "HRC";
    struct fault fault;

    disposition.said_by = amendment.said_by = hardness.measured_by = scene->names[NAME_PLACE];
    disposition.reason = amendment.reason = amendment.words = scene->names[NAME_SENTENCE];
    hardness.scale = scale;
    hardness.piece = hardness.position = hardness.instrument = scene->names[NAME_PLACE];
    scene_check(ledger_add_attestation(scene->ledger, scene->batch_id, &said, &fault), "attestation", &fault);
    scene_check(books_add_disposition(scene->ledger, scene->batch_id, &disposition, &fault), "disposition", &fault);
    scene_check(books_add_hardness(scene->ledger, scene->batch_id, &hardness, &fault), "hardness", &fault);
    scene_check(books_add_amendment(scene->ledger, scene->batch_id, &amendment, &fault), "amendment", &fault);
}

static void scene_open(struct scene *scene, const char *folder, const char *name) {
    struct ledger_session session = {.started_ms = START_MS, .wall_ms = START_MS, .boottime_ms = 1000};
    char path[PATH_BYTES];
    struct fault fault;

    snprintf(scene->config_path, sizeof scene->config_path, "%.180s/%s.conf", folder, name);
    snprintf(scene->ledger_path, sizeof scene->ledger_path, "%.180s/%s.ledger", folder, name);
    snprintf(path, sizeof path, "%.180s/%s.expected", folder, name);
    scene->expected = fopen(path, "w");
    if (scene->expected == NULL)
        scene_fail("expected", NULL);
    fprintf(scene->expected, "%s\n", scene->of->level[MATRIX_PAPERS] == 0 ? "595.276 841.89" : "612 792");
    scene_write_config(scene);
    scene_write_plan(scene);
    scene->config = config_read(scene->config_path, &fault);
    if (scene->config == NULL)
        scene_fail("config", &fault);
    scene->ledger = ledger_open(scene->ledger_path, LEDGER_RECORD, &fault);
    if (scene->ledger == NULL)
        scene_fail("ledger", &fault);
    snprintf(session.boot_id, sizeof session.boot_id, "00000000-0000-0000-0000-000000000001");
    scene_check(ledger_begin(scene->ledger, &fault), "session", &fault);
    scene_check(
        ledger_add_session(scene->ledger, &session, scene->config, &scene->oven_id, scene->channel_ids, &fault),
        "session", &fault);
    scene_check(ledger_commit(scene->ledger, &fault), "session", &fault);
}

static void scene_close(struct scene *scene) {
    char path[PATH_BYTES + sizeof "-wal"];

    ledger_close(scene->ledger);
    config_free(scene->config);
    fclose(scene->expected);
    remove(scene->config_path);
    remove(scene->ledger_path);
    snprintf(path, sizeof path, "%s.lock", scene->ledger_path);
    remove(path);
}

size_t matrix_draw(const struct matrix_case *of, const char *folder, const char *name) {
    struct scene *scene = calloc(1, sizeof *scene);
    struct certificate_issue issue = {1, 7, 2, 0};
    char path[PATH_BYTES];
    unsigned char *bytes = NULL;
    enum outcome outcome;
    struct fault fault;
    size_t length;

    if (scene == NULL)
        abort();
    scene->of = of;
    scene->channels = channel_counts[of->level[MATRIX_CHANNELS]];
    scene->loads = count_loads(scene->channels);
    scene->duration_ms = durations[of->level[MATRIX_DURATIONS]].ms;
    scene->interval_ms = scene->duration_ms / READINGS / S * S > S ? scene->duration_ms / READINGS / S * S : S;
    for (size_t i = 0; i < NAMES_PER_KIND; i++) {
        snprintf(scene->names[i], TEXT_BYTES, "%s", kinds[of->level[MATRIX_NAMES]].names[i]);
        if (scene->names[i][0] == '\0')
            long_name((enum name)i, scene->names[i]);
    }
    scene_open(scene, folder, name);
    scene_open_batch(scene);
    scene_record(scene, 0, START_MS + H);
    scene_record(scene, 1, scene->end_ms + MIN);
    scene_add_books(scene);
    issue.issued_ms = scene->end_ms;
    if (certificate_make(scene->ledger, scene->config, &issue, NULL, &bytes, &length, &outcome, &fault) != 0)
        scene_fail("certificate", &fault);
    if (outcome != (of->level[MATRIX_OUTCOMES] == MET       ? OUTCOME_MET
                    : of->level[MATRIX_OUTCOMES] == NOT_MET ? OUTCOME_NOT_MET
                                                            : OUTCOME_NOT_PROVEN))
        scene_fail("another outcome", NULL);
    snprintf(path, sizeof path, "%.180s/%s.pdf", folder, name);
    paper_write(path, bytes, length);
    free(bytes);
    scene_close(scene);
    free(scene);
    return length;
}
