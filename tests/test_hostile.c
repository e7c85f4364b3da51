// SPDX-License-Identifier: MIT
/* Text and files from people who mean harm: what they typed is text wherever it goes, and a ledger that they made
 * runs nothing of theirs. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sysexits.h>
#include <unistd.h>

#include "../daemon/ledger/ledger_private.h"
#include "soakledger/alert.h"
#include "soakledger/journal.h"
#include "soakledger/words.h"
#include "support/bench_ledger.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

#define MIN INT64_C(60000)

/* A marker that has to come back as text, between what would be obeyed somewhere. */
#define ESCAPES "\033[2J\033]0;owned\007\033[31m\r\n\b\177\v"
#define C1                                                                                                         \
    "\xC2\x9B"                                                                                                     \
    "31m\xC2\x9D"                                                                                                  \
    "0;x\xC2\x9C\x9B"
#define BIDI                                                                                                       \
    "\xE2\x80\xAE"                                                                                                 \
    "txt\xE2\x80\xAC\xE2\x81\xA6\xE2\x81\xA9\xD8\x9C\xEF\xBB\xBF\xE2\x80\xA8"
#define NO_UTF_8 "\xC0\xAF\xED\xA0\x80\xF5\x80\x80\x80\xFF"
#define SHELL    "$(touch pwned)`touch pwned`;touch pwned|touch pwned&\n touch pwned\n"
#define PAPER    ")\\)>>/OpenAction<</S/JavaScript/JS(app.alert(1))>>endstream endobj 9 0 obj<</URI(x)>>%"
#define MARKUP   "</text><script>alert(1)</script><!--]]>\"'&#x1b;&lt;"
static const char EVIL[] = "=cmd|' /C calc'!A0," ESCAPES C1 BIDI NO_UTF_8 SHELL PAPER MARKUP "\"q\"\"";
static const char EVIL_NAME[] = "=x" ESCAPES C1 BIDI NO_UTF_8 "`touch pwned`)<b>";
static const char *const LEADS[] = {"=1+1", "+1",   "-1",  "@SUM(1)",
                                    "\t=1", "\r=1", " =1", "\357\274\2351"}; // a full-width sign

static const char SHOP[] = "name = =Tool)room\xE2\x80\xAE $(touch pwned)`touch pwned` </text><script>x</script>\n"
                           "utc_offset = +01:00\n";

static const struct fixture_run SHORT = {.begun_ms = FIXTURE_START_MS + MIN,
                                         .start_mc = 790000,
                                         .top_mc = 808000,
                                         .end_mc = 790000,
                                         .rise_mc_per_h = 400000,
                                         .fall_mc_per_h = 900000,
                                         .level_ms = 10 * MIN};

static char *build_path(const char *name) {
    static char path[PATH_MAX];
    const char *build = getenv("SOAKLEDGER_BUILD");
    char relative[PATH_MAX / 2];

    snprintf(relative, sizeof relative, "%s/%s", build != NULL ? build : "build/gcc", name);
    assert_non_null(realpath(relative, path));
    return path;
}

/* ---- the command, without a shell between ---- */

struct said {
    int status;
    size_t length;
    char *text; // both outputs
};

static void become_program(const struct ledger_fixture *fixture, const char *program, int out, char **words) {
    const int nothing = open("/dev/null", O_RDONLY);

    if (chdir(fixture->folder) == 0 && dup2(nothing, 0) == 0 && dup2(out, 1) == 1 && dup2(out, 2) == 2)
        execv(program, words);
    _exit(EX_OSERR);
}

/* Runs it with these words, the last NULL. */
static struct said ask(const struct ledger_fixture *fixture, const char *const *asked) {
    enum { MOST_WORDS = 40 };
    char program[PATH_MAX], path[2 * FIXTURE_PATH_BYTES], *words[MOST_WORDS];
    struct said said;
    size_t count = 0;
    pid_t child;
    int out;

    snprintf(program, sizeof program, "%s", build_path("soakledger"));
    snprintf(path, sizeof path, "%s/said", fixture->folder);
    words[count++] = program;
    words[count++] = (char *)(uintptr_t) "-c";
    words[count++] = (char *)(uintptr_t)fixture->config_path;
    while (*asked != NULL && count + 1 < MOST_WORDS)
        words[count++] = (char *)(uintptr_t)*asked++;
    words[count] = NULL;
    out = open(path, O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    assert_true(out >= 0);
    child = fork();
    if (child == 0)
        become_program(fixture, program, out, words);
    assert_int_equal(waitpid(child, &said.status, 0), child);
    assert_true(WIFEXITED(said.status));
    said.status = WEXITSTATUS(said.status);
    close(out);
    said.text = bench_slurp(path, &said.length);
    said.text = realloc(said.text, said.length + 1);
    assert_non_null(said.text);
    said.text[said.length] = '\0';
    return said;
}

/* That nothing of it is a command to a terminal, or hides or turns what stands there. */
static void check_shown(const char *what, const char *text, size_t length) {
    for (size_t at = 0; at < length;) {
        uint32_t code;
        const size_t step = words_code(text + at, length - at, &code);

        if ((code < ' ' && code != '\n') || (code >= 0x7F && code < 0xA0) || code == 0x61C ||
            (code >= 0x200B && code <= 0x200F) || (code >= 0x2028 && code <= 0x202E) ||
            (code >= 0x2060 && code <= 0x206F) || code == 0xFEFF || (step == 1 && code == 0xFFFD))
            fail_msg("%s: U+%04X at %zu of: %s", what, code, at, text);
        at += step;
    }
}

static void check_said(const struct ledger_fixture *fixture, int status, const char *const *asked) {
    struct said said = ask(fixture, asked);

    check_shown(asked[0], said.text, said.length);
    if (status >= 0 && said.status != status)
        fail_msg("%s %s: status %d: %s", asked[0], asked[1] != NULL ? asked[1] : "", said.status, said.text);
    assert_true(said.length > 0);
    assert_true(said.status < 128 && said.status != EX_SOFTWARE);
    free(said.text);
}
#define SAYS(fixture, status, ...) check_said(fixture, status, (const char *const[]){__VA_ARGS__, NULL})

static void check_nothing_ran(const struct ledger_fixture *fixture) {
    char path[2 * FIXTURE_PATH_BYTES];

    snprintf(path, sizeof path, "%s/pwned", fixture->folder);
    assert_int_equal(access(path, F_OK), -1);
}

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, SHOP, false);
    assert_int_equal(fixture_record(fixture, &SHORT), 1);
    fixture_write_plan(fixture, FIXTURE_PLAN_HARDEN);
    fixture_keep_books(fixture);
    ledger_close(fixture->ledger);
    fixture->ledger = NULL;
    SAYS(fixture, 0, "batch", "open", "--plan", fixture->plan_path, "--oven", "hardening", "--charge", EVIL,
         "--customer", EVIL, "--order", EVIL, "--operator", EVIL, "--note", EVIL);
    SAYS(fixture, 0, "claim", "1", "1", "--by", EVIL_NAME);
    SAYS(fixture, 0, "disposition", "1", "hold", "--reason", EVIL, "--by", EVIL_NAME);
    SAYS(fixture, 0, "hardness", "1", "60", "61", "HRC", "--piece", EVIL_NAME, "--position", EVIL_NAME,
         "--instrument", EVIL_NAME, "--by", EVIL_NAME);
    SAYS(fixture, 0, "amend", "1", "note", "--to", EVIL, "--reason", EVIL, "--by", EVIL_NAME);
    *state = fixture;
    return 0;
}

static int end(void **state) {
    check_nothing_ran(*state);
    fixture_remove(*state);
    free(*state);
    return 0;
}

/* ---- to the terminal ---- */

static void what_people_typed_is_shown_as_text(void **state) {
    struct ledger_fixture *fixture = *state;
    struct said said = ask(fixture, (const char *const[]){"batch", "show", "1", NULL});

    assert_true(paper_has(said.text, "=cmd|' /C calc'!A0,"));
    free(said.text);
    SAYS(fixture, 0, "batch", "show", "1");
    SAYS(fixture, 0, "batch", "list", "--all");
    SAYS(fixture, 0, "runs", "--all");
    SAYS(fixture, -1, "review", "1");
    SAYS(fixture, -1, "what-if", "1", "--below", "2 C");
    SAYS(fixture, 0, "now", "--once");
    SAYS(fixture, -1, "drift");
    SAYS(fixture, 0, "sensor", "list");
    SAYS(fixture, -1, "verify");
    SAYS(fixture, 0, "plan", "show", fixture->plan_path);
}

static void faults_show_what_was_given_as_text(void **state) {
    struct ledger_fixture *fixture = *state;
    static const char *const ones[] = {"batch",  "claim",  "runs", "review",  "what-if", "sensor",
                                       "verify", "export", "plan", "import",  "survey",  "check",
                                       "drift",  "backup", "key",  "hardness"};

    SAYS(fixture, EX_USAGE, EVIL);
    for (size_t i = 0; i < sizeof ones / sizeof ones[0]; i++)
        SAYS(fixture, -1, ones[i], EVIL, EVIL, EVIL);
    SAYS(fixture, -1, "-c", EVIL, "runs");
    SAYS(fixture, EX_USAGE, "runs",
         "--"
         "x" ESCAPES);
    SAYS(fixture, -1, "batch", "show", EVIL);
    SAYS(fixture, -1, "batch", "open", "--plan", EVIL, "--charge", "x");
    SAYS(fixture, -1, "batch", "list", "--from", EVIL);
    SAYS(fixture, -1, "export", "run", EVIL);
    SAYS(fixture, -1, "verify", "x" ESCAPES ".pdf");
    SAYS(fixture, -1, "verify", "--seal", EVIL);
    SAYS(fixture, -1, "import", EVIL, "--as", EVIL);
    SAYS(fixture, -1, "sensor", "show", EVIL);
    SAYS(fixture, -1, "plan", "check", EVIL);
    SAYS(fixture, -1, "hardness", "1", EVIL, EVIL);
}

/* Texts that no argument can hold, as if somebody had written them into the file. */
static void what_stands_in_the_file_is_shown_as_text_or_refused(void **state) {
    struct ledger_fixture *fixture = *state;
    char words[BENCH_WORDS_BYTES];

    bench_run_sql(
        fixture->ledger_path,
        "DROP TRIGGER IF EXISTS fitting_unchanged; DROP TRIGGER IF EXISTS channel_unchanged;"
        "UPDATE channel SET name = name || char(27) || '[2J' || char(8238, 155);"
        "UPDATE fitting SET sensor_identity = char(27, 13, 10, 8206) || 'x', instrument = char(27, 7) || 'y'",
        words);
    SAYS(fixture, -1, "runs", "--all");
    SAYS(fixture, -1, "batch", "show", "1");
    SAYS(fixture, -1, "batch", "list");
    SAYS(fixture, -1, "review", "1");
    SAYS(fixture, -1, "now", "--once");
    SAYS(fixture, -1, "drift");
    SAYS(fixture, -1, "verify");
    bench_run_sql(fixture->ledger_path,
                  "DROP TRIGGER batch_closes_once; UPDATE batch SET charge = 'a' || char(0) || 'b'", words);
    SAYS(fixture, EX_DATAERR, "batch", "show", "1");
}

/* ---- into files ---- */

static char *shell(const struct ledger_fixture *fixture, const char *line) {
    int status;
    char *said = paper_run(&status, "T=$PWD; cd %s; (%s) 2>&1", fixture->folder, line);

    if (status != 0)
        fail_msg("%s: status %d: %s", line, status, said);
    return said;
}

static void a_certificate_holds_it_as_text(void **state) {
    struct ledger_fixture *fixture = *state;
    char path[2 * FIXTURE_PATH_BYTES], *text;

    SAYS(fixture, -1, "certificate", "1", "-o", "c.pdf", "--by", EVIL_NAME);
    SAYS(fixture, -1, "review", "1", "-o", "r.pdf");
    for (const char *const *name = (const char *const[]){"c.pdf", "r.pdf", NULL}; *name != NULL; name++) {
        snprintf(path, sizeof path, "%s/%s", fixture->folder, *name);
        assert_true(paper_is_sound(path));
        text = paper_flat(path);
        assert_true(paper_has(text, "=cmd|"));
        check_shown(*name, text, strlen(text));
        free(text);
    }
    // Keys of dictionaries, read by another program: none of those that make a reader do something.
    text =
        shell(fixture, "for f in c.pdf r.pdf; do qpdf --json $f >$f.json; done; /usr/bin/python3 -c '\n"
                       "import json\n"
                       "def keys(v):\n"
                       "    if isinstance(v, dict):\n"
                       "        for k, w in v.items():\n"
                       "            yield k\n"
                       "            yield from keys(w)\n"
                       "    elif isinstance(v, list):\n"
                       "        for w in v: yield from keys(w)\n"
                       "for f in (\"c.pdf.json\", \"r.pdf.json\"):\n"
                       "    found = set(keys(json.load(open(f))))\n"
                       "    assert \"/Catalog\" in open(f).read() and \"/Contents\" in found\n"
                       "    print(found & {\"/OpenAction\", \"/AA\", \"/A\", \"/JS\", \"/JavaScript\", \"/URI\", "
                       "\"/Launch\", \"/SubmitForm\", \"/XFA\", \"/RichMedia\"})'");
    assert_string_equal(text, "set()\nset()\n");
    free(text);
    SAYS(fixture, -1, "verify", "c.pdf");
}

static void csv_and_json_hold_it_as_text(void **state) {
    struct ledger_fixture *fixture = *state;
    char *text, number[8];

    for (size_t i = 0; i < sizeof LEADS / sizeof LEADS[0]; i++) {
        snprintf(number, sizeof number, "%zu", i + 1);
        SAYS(fixture, 0, "batch", "close", number);
        SAYS(fixture, 0, "batch", "open", "--plan", fixture->plan_path, "--oven", "hardening", "--charge", LEADS[i],
             "--customer", EVIL);
    }
    SAYS(fixture, 0, "export", "run", "1", "--csv", "-o", "run.csv");
    SAYS(fixture, 0, "export", "run", "1", "--json", "-o", "run.json");
    text = paper_run(NULL,
                     "cd %s && %s -c %s batch list --all --csv >b.csv && %s -c %s runs --all --csv >r.csv && "
                     "%s -c %s batch list --all --json >b.json",
                     fixture->folder, build_path("soakledger"), fixture->config_path, build_path("soakledger"),
                     fixture->config_path, build_path("soakledger"), fixture->config_path);
    assert_string_equal(text, "");
    free(text);
    text =
        shell(fixture,
              "/usr/bin/python3 -c '\n"
              "import csv, json, unicodedata\n"
              "for name in (\"b.csv\", \"r.csv\", \"run.csv\"):\n"
              "    rows = list(csv.reader(open(name, newline=\"\", encoding=\"utf-8\"), strict=True))\n"
              "    assert len(rows) > 1 and len({len(r) for r in rows}) == 1, name\n"
              "    for cell in (c for r in rows for c in r):\n"
              "        assert not any(unicodedata.category(c) in (\"Cc\", \"Cf\", \"Zl\", \"Zp\") for c in cell)\n"
              "        plain = cell.lstrip(\" \")\n"
              "        number = plain.lstrip(\"-\").replace(\".\", \"\").isdigit()\n"
              "        assert number or plain[:1] not in list(\"=+-@\\uff1d\\uff0b\\uff0d\\uff20\"), cell\n"
              "    if name == \"b.csv\": print(len(rows), sum(r[7][:1] == chr(39) for r in rows))\n"
              "whole = json.load(open(\"b.json\"))\n"
              "print(len(whole[\"rows\"]), whole[\"rows\"][0][\"charge\"][:5])\n"
              "json.load(open(\"run.json\"))'");
    assert_string_equal(text, "10 9\n9 =cmd|\n");
    free(text);
}

static void a_drawing_holds_no_script(void **state) {
    struct ledger_fixture *fixture = *state;
    char *text;

    SAYS(fixture, 0, "export", "batch", "1", "--svg", "-o", "b.svg");
    text = shell(fixture, "rsvg-convert b.svg -o b.png && /usr/bin/python3 -c '\n"
                          "import xml.etree.ElementTree as tree\n"
                          "all = list(tree.parse(\"b.svg\").iter())\n"
                          "assert len(all) > 20\n"
                          "bad = [e.tag for e in all if e.tag.split(\"}\")[1] in (\"script\", \"a\", \"image\", "
                          "\"foreignObject\", \"use\", \"style\", \"iframe\")]\n"
                          "bad += [k for e in all for k in e.attrib if k.startswith(\"on\") or \"href\" in k]\n"
                          "print(bad)'");
    assert_string_equal(text, "[]\n");
    free(text);
}

static void files_get_the_names_they_were_given(void **state) {
    struct ledger_fixture *fixture = *state;
    static const char *const names[] = {"./-rf.csv", "$(touch pwned)`touch pwned`.csv", "a b'\"\\;&|*?.csv",
                                        "line\nbreak\033[31m.csv", "\xE2\x80\xAEvsc.csv"};
    char path[3 * FIXTURE_PATH_BYTES];

    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        SAYS(fixture, 0, "export", "run", "1", "-o", names[i]);
        snprintf(path, sizeof path, "%s/%s", fixture->folder, names[i]);
        assert_int_equal(access(path, R_OK), 0);
    }
    SAYS(fixture, -1, "certificate", "1", "-o", "line\nbreak\033[31m.pdf");
    snprintf(path, sizeof path, "%s/line\nbreak\033[31m.pdf", fixture->folder);
    assert_int_equal(access(path, R_OK), 0);
    SAYS(fixture, -1, "verify", "line\nbreak\033[31m.pdf");
}

/* 100 kB in each place: kept or refused in one line, and then everything can still be printed. */
static void long_texts_do_no_harm(void **state) {
    struct ledger_fixture *fixture = *state;
    enum { LONG = 100000 };
    char *text = malloc(LONG + 1), path[2 * FIXTURE_PATH_BYTES];
    struct said said;

    assert_non_null(text);
    for (size_t i = 0; i < LONG; i++)
        text[i] = "plane irons ("[i % 13];
    text[LONG] = '\0';
    SAYS(fixture, 0, "batch", "close", "1");
    said = ask(fixture, (const char *const[]){"batch", "open", "--plan", fixture->plan_path, "--charge", text,
                                              "--customer", text, "--oven", "hardening", NULL});
    check_shown("open", said.text, said.length);
    assert_true(said.status == 0 || said.status == EX_USAGE || said.status == EX_DATAERR);
    free(said.text);
    SAYS(fixture, 0, "disposition", "1", "hold", "--reason", "x", "--by", "y");
    SAYS(fixture, -1, "disposition", "1", "hold", "--reason", text, "--by", text);
    SAYS(fixture, 0, "batch", "list", "--all");
    SAYS(fixture, 0, "batch", "show", "1");
    SAYS(fixture, EX_USAGE, text);
    SAYS(fixture, -1, "certificate", "1", "-o", "long.pdf");
    snprintf(path, sizeof path, "%s/long.pdf", fixture->folder);
    assert_true(access(path, R_OK) != 0 || paper_is_sound(path));
    free(text);
}

/* ---- to other programs ---- */

static void a_fault_is_one_line(void **state) {
    struct fault fault;

    (void)state;
    fault_set(&fault, EX_DATAERR, "%s", ESCAPES);
    for (const char *c = fault.text; *c != '\0'; c++)
        assert_true(*c == ' ' || (*c > ' ' && *c < 0x7F));
    assert_non_null(strstr(fault.text, "[31m"));
}

static void the_journal_gets_text(void **state) {
    char clean[256], tiny[4];

    (void)state;
    journal_clean(clean, sizeof clean,
                  "a" ESCAPES C1 BIDI NO_UTF_8 "\xF3\xA0\x80\xA0"
                  "b \xC2\xB0"
                  "C");
    check_shown("journal", clean, strlen(clean));
    assert_int_equal(clean[0], 'a');
    assert_string_equal(clean + strlen(clean) - 5, "b \xC2\xB0"
                                                   "C");
    assert_string_equal(journal_clean(tiny, sizeof tiny, "ab\xC2\xB0"), "ab"); // no half character
}

static void the_alert_command_gets_arguments(void **state) {
    enum { TRIES = 500, TRY_US = 20000 };
    struct ledger_fixture *fixture = *state;
    char script[2 * FIXTURE_PATH_BYTES], log[2 * FIXTURE_PATH_BYTES], *told, *text;
    const char *const command[] = {"/bin/sh", script, NULL};
    struct alert_desk *desk;
    struct fault fault;
    size_t length;

    snprintf(script, sizeof script, "%s/script", fixture->folder);
    snprintf(log, sizeof log, "%s/heard", fixture->folder);
    bench_spill(script, "cd \"${0%/*}\"; for w; do printf '%s\\n' \"$w\"; done >new; mv new heard\n",
                strlen("cd \"${0%/*}\"; for w; do printf '%s\\n' \"$w\"; done >new; mv new heard\n"));
    desk = alert_open(command, MIN, MIN, &fault);
    assert_non_null(desk);
    alert_raise(desk, ALERT_SENSOR, "-rf " SHELL, FIXTURE_START_MS, EVIL);
    for (int i = 0; i < TRIES && access(log, F_OK) != 0; i++) {
        alert_tend(desk, FIXTURE_START_MS);
        usleep(TRY_US);
    }
    alert_close(desk);
    told = bench_slurp(log, &length);
    check_shown("alert", told, length);
    text = strndup(told, length);
    assert_non_null(text);
    free(told);
    assert_int_equal(paper_count(text, "\n"), 5); // five arguments, a line each
    assert_true(paper_has(text, "$(touch pwned)`touch pwned`"));
    free(text);
}

/* ---- whole files ---- */

static void sql(const struct ledger_fixture *fixture, const char *statements) {
    char words[BENCH_WORDS_BYTES];

    if (bench_run_sql(fixture->ledger_path, statements, words) != SQLITE_OK)
        fail_msg("%s: %s", statements, words);
}

static void check_opens(const struct ledger_fixture *fixture, enum ledger_mode mode, const char *refused) {
    struct fault fault = {0, ""};
    struct ledger *ledger = ledger_open(fixture->ledger_path, mode, &fault);

    if (refused == NULL ? ledger == NULL : ledger != NULL || strstr(fault.text, refused) == NULL)
        fail_msg("mode %d: '%s': expected '%s'", (int)mode, fault.text, refused != NULL ? refused : "success");
    assert_true(ledger != NULL || fault.status == EX_DATAERR);
    ledger_close(ledger);
}

/* Else every command would build a model of the schema first. */
static void the_digests_of_the_form_are_up_to_date(void **state) {
    const struct ledger ledger = {.path = NULL};
    char sha256[LEDGER_SHA256_TEXT_BYTES];
    struct fault fault;

    (void)state;
    for (int version = 1; version <= LEDGER_SCHEMA_VERSION; version++) {
        sqlite3 *model = ledger_make_model(&ledger, version, &fault);

        assert_non_null(model);
        assert_int_equal(ledger_digest_form(model, sha256), 0);
        sqlite3_close(model);
        if (!ledger_is_usual_form(version, sha256))
            fail_msg("ledger_form.c: the digest of version %d should be %s", version, sha256);
    }
}

static void a_view_of_the_users_does_no_harm(void **state) {
    sql(*state, "CREATE VIEW mine AS SELECT * FROM batch; ANALYZE");
    check_opens(*state, LEDGER_READ, NULL);
    check_opens(*state, LEDGER_BOOKKEEP, NULL);
    check_opens(*state, LEDGER_RECORD, NULL);
}

static void nothing_is_written_where_something_foreign_would_run(void **state) {
    static const struct {
        const char *made, *gone, *refused;
    } things[] = {
        {"CREATE TRIGGER mine AFTER INSERT ON claim BEGIN UPDATE sensor SET identity = 'x'; END",
         "DROP TRIGGER mine", "its trigger mine was not made by this program"},
        {"CREATE INDEX mine ON claim (hex(run_id))", "DROP INDEX mine", "its index mine was not made"},
        {"CREATE TABLE mine (a)", "DROP TABLE mine", "its table mine was not made"},
    };

    for (size_t i = 0; i < sizeof things / sizeof things[0]; i++) {
        sql(*state, things[i].made);
        check_opens(*state, LEDGER_READ, NULL);
        check_opens(*state, LEDGER_BOOKKEEP, things[i].refused);
        check_opens(*state, LEDGER_RECORD, things[i].refused);
        sql(*state, things[i].gone);
        check_opens(*state, LEDGER_RECORD, NULL);
    }
}

static void a_table_that_is_not_as_it_was_made_is_refused(void **state) {
    sql(*state, "ALTER TABLE oven ADD COLUMN more TEXT GENERATED ALWAYS AS (name || 'x') VIRTUAL");
    check_opens(*state, LEDGER_READ, "a damaged ledger: its table oven is not as version 2 has it");
    check_opens(*state, LEDGER_BOOKKEEP, "its table oven");
    check_opens(*state, LEDGER_RECORD, NULL); // sets it aside and begins anew
    check_opens(*state, LEDGER_READ, NULL);
}

static void a_trigger_that_calls_itself_a_view_is_found(void **state) {
    sql(*state, "CREATE TRIGGER zz AFTER INSERT ON claim BEGIN SELECT 1; END; PRAGMA writable_schema = ON;"
                "UPDATE sqlite_schema SET type = 'view' WHERE name = 'zz'");
    check_opens(*state, LEDGER_BOOKKEEP, ": "); // by SQLite or by us
}

/* The first interior page of the readings' tree is made its own child. */
static void a_tree_without_an_end_ends(void **state) {
    struct ledger_fixture *fixture = *state;
    enum { INTERIOR_INDEX = 2, INTERIOR_TABLE = 5, HEADER = 12 };
    size_t length, page_bytes, root;
    unsigned char *bytes, *page;
    struct said said;

    sql(fixture, "PRAGMA journal_mode = DELETE");
    root = (size_t)bench_count(fixture->ledger_path, "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'");
    bytes = (unsigned char *)bench_slurp(fixture->ledger_path, &length);
    page_bytes = (size_t)bytes[16] << 8 | bytes[17];
    page = bytes + (root - 1) * page_bytes;
    assert_true(page[0] == INTERIOR_INDEX || page[0] == INTERIOR_TABLE);
    for (size_t cell = 0; cell < ((size_t)page[3] << 8 | page[4]); cell++) {
        unsigned char *child = page + ((size_t)page[HEADER + 2 * cell] << 8 | page[HEADER + 2 * cell + 1]);

        child[0] = (unsigned char)(root >> 24);
        child[1] = (unsigned char)(root >> 16);
        child[2] = (unsigned char)(root >> 8);
        child[3] = (unsigned char)root;
    }
    bench_spill(fixture->ledger_path, (const char *)bytes, length);
    free(bytes);
    said = ask(fixture, (const char *const[]){"batch", "show", "1", NULL});
    assert_int_equal(said.status, EX_DATAERR);
    free(said.text);
    check_opens(fixture, LEDGER_BOOKKEEP, fixture->ledger_path);
    check_opens(fixture, LEDGER_RECORD, NULL); // sets it aside and begins anew
}

static void a_statement_takes_no_more_steps_than_its_file_is_worth(void **state) {
    struct ledger_fixture *fixture = *state;
    static const char endless[] =
        "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c) SELECT max(n) FROM c";
    struct fault fault = {0, ""};
    struct ledger *ledger = ledger_open(fixture->ledger_path, LEDGER_READ, &fault);
    struct query query;

    assert_non_null(ledger);
    query_open_sql(&query, ledger, endless, "count", &fault);
    assert_int_equal(query_step(&query), -1);
    assert_int_equal(fault.status, EX_DATAERR);
    assert_non_null(strstr(fault.text, "no file of its size takes so many steps"));
    assert_int_equal(sqlite3_limit(ledger->db, SQLITE_LIMIT_ATTACHED, -1), 0);
    assert_int_equal(sqlite3_exec(ledger->db, "SELECT load_extension('x')", NULL, NULL, NULL), SQLITE_ERROR);
    assert_true(ledger_may_hold_rows(ledger, 1000) && !ledger_may_hold_rows(ledger, SIZE_MAX / 2));
    assert_true(ledger_may_copy(ledger, 1000) && !ledger_may_copy(ledger, (size_t)1 << 40));
    ledger_close(ledger);
}

#define WITH_FIXTURE(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(what_people_typed_is_shown_as_text),
        WITH_FIXTURE(faults_show_what_was_given_as_text),
        WITH_FIXTURE(what_stands_in_the_file_is_shown_as_text_or_refused),
        WITH_FIXTURE(a_certificate_holds_it_as_text),
        WITH_FIXTURE(csv_and_json_hold_it_as_text),
        WITH_FIXTURE(a_drawing_holds_no_script),
        WITH_FIXTURE(files_get_the_names_they_were_given),
        WITH_FIXTURE(long_texts_do_no_harm),
        cmocka_unit_test(a_fault_is_one_line),
        cmocka_unit_test(the_journal_gets_text),
        WITH_FIXTURE(the_alert_command_gets_arguments),
        cmocka_unit_test(the_digests_of_the_form_are_up_to_date),
        WITH_FIXTURE(a_view_of_the_users_does_no_harm),
        WITH_FIXTURE(nothing_is_written_where_something_foreign_would_run),
        WITH_FIXTURE(a_table_that_is_not_as_it_was_made_is_refused),
        WITH_FIXTURE(a_trigger_that_calls_itself_a_view_is_found),
        WITH_FIXTURE(a_tree_without_an_end_ends),
        WITH_FIXTURE(a_statement_takes_no_more_steps_than_its_file_is_worth),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
