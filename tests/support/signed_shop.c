// SPDX-License-Identifier: MIT
#include "signed_shop.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "paper.h"
#include "soakledger/clock.h"
#include "soakledger/corrections.h"

#define S   INT64_C(1000)
#define MIN (60 * S)
#define H   (60 * MIN)

/* Hardened and tempered as test_certificate.c works it out: everything is met. */
static void record(struct ledger_fixture *fixture, int64_t batch_id) {
    const struct fixture_run hardened = {.begun_ms = FIXTURE_START_MS + H,
                                         .start_mc = 190000,
                                         .top_mc = 808000,
                                         .end_mc = 600000,
                                         .rise_mc_per_h = 420000,
                                         .fall_mc_per_h = 900000,
                                         .level_ms = 20 * MIN,
                                         .back_lag_ms = 60 * S};
    const struct fixture_run tempered = {.begun_ms = fixture_end_ms(&hardened) + H,
                                         .start_mc = 121000,
                                         .top_mc = 180000,
                                         .end_mc = 120000,
                                         .rise_mc_per_h = 300000,
                                         .fall_mc_per_h = 200000,
                                         .level_ms = 65 * MIN,
                                         .back_lag_ms = 60 * S};
    struct fault fault;

    for (size_t visit = 0; visit < 2; visit++) {
        const int64_t run_id = fixture_record(fixture, visit == 0 ? &hardened : &tempered);

        assert_int_equal(
            ledger_claim_run(fixture->ledger, run_id, batch_id, visit, FIXTURE_START_MS + H, "daemon", &fault), 0);
    }
}

/* The controller's sensor shows 1 °C too little. */
static void calibrate(struct ledger_fixture *fixture) {
    static const char text[] = "[calibration]\nsensor = K-114\ncertificate = 26-0417\ndate = 2026-09-01\n"
                               "uncertainty = 1.1 C\n100 C = +1 C\n900 C = +1 C\n";
    struct calibration calibration = {.subject = CALIBRATION_OF_SENSOR,
                                      .name = "K-114",
                                      .certificate = "26-0417",
                                      .done_ms = FIXTURE_START_MS - 24 * H,
                                      .uncertainty_mc = 1100,
                                      .point_count = 2,
                                      .points = {{100000, 1000}, {900000, 1000}}};
    struct fault fault;

    if (corrections_add(fixture->ledger, &calibration, FIXTURE_START_MS, "smith", text, strlen(text), &fault) != 0)
        fail_msg("%s", fault.text);
}

int signed_shop_begin(void **state) {
    struct signed_shop *shop = calloc(1, sizeof *shop);
    char section[3 * SIGNED_PATH_BYTES];
    struct fault fault;
    int64_t batch_id;

    strcpy(shop->clock, "/tmp/soakledger-clock-XXXXXX");
    close(mkstemp(shop->clock));
    assert_int_equal(clock_create_page(shop->clock, SIGNED_NOW_MS, &fault), 0);
    snprintf(
        section, sizeof section,
        "name = Werkzeugbau für Hobeleisen\naddress = Bench 3\nutc_offset = +01:00\nkey = %s.key\n[clock]\npage = "
        "%s\n",
        shop->clock, shop->clock);
    fixture_make(&shop->fixture, section, false);
    snprintf(shop->folder, sizeof shop->folder, "%s", shop->fixture.folder);
    batch_id = fixture_open_batch(&shop->fixture, 0, FIXTURE_PLAN, "Joinery in the old mill", "Bevels up");
    calibrate(&shop->fixture);
    record(&shop->fixture, batch_id);
    fixture_keep_books(&shop->fixture);
    *state = shop;
    signed_shop_expect(shop, 0, "$S key make", "SHA-256");
    signed_shop_expect(shop, 0, "$S key public -o shop.pub && $S key certificate -o shop.crt", "shop.crt");
    return 0;
}

int signed_shop_end(void **state) {
    struct signed_shop *shop = *state;

    free(paper_run(NULL, "rm -f %s %s.key", shop->clock, shop->clock));
    fixture_remove(&shop->fixture);
    free(shop);
    return 0;
}

static const char *program(void) {
    static char path[SIGNED_PATH_BYTES];
    const char *build = getenv("SOAKLEDGER_BUILD");
    char here[SIGNED_PATH_BYTES / 2];

    if (getcwd(here, sizeof here) == NULL)
        abort();
    snprintf(path, sizeof path, "%s/%.100s/soakledger", here, build != NULL ? build : "build/gcc");
    return path;
}

char *signed_shop_run(const struct signed_shop *shop, int expected, const char *line, const char *part) {
    char here[SIGNED_PATH_BYTES], *said;
    int status = 0;

    if (getcwd(here, sizeof here) == NULL)
        abort();
    said = paper_run(&status, "W=%s; cd %s || exit 99; exec 2>&1; K=%s; S=\"$K -c shop.conf\"; %s", here,
                     shop->folder, program(), line);
    if (status != expected || strstr(said, part) == NULL)
        fail_msg("%s\nended with %d, expected %d and '%s':\n%s", line, status, expected, part, said);
    return said;
}

void signed_shop_expect(const struct signed_shop *shop, int expected, const char *line, const char *part) {
    free(signed_shop_run(shop, expected, line, part));
}

unsigned char *signed_shop_load(const struct signed_shop *shop, const char *name, size_t *length) {
    char path[2 * SIGNED_PATH_BYTES];
    unsigned char *bytes;
    FILE *file;

    snprintf(path, sizeof path, "%s/%s", shop->folder, name);
    file = fopen(path, "rb");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    *length = (size_t)ftell(file);
    rewind(file);
    bytes = malloc(*length + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, *length, file), *length);
    fclose(file);
    return bytes;
}

void signed_shop_store(const struct signed_shop *shop, const char *name, const void *bytes, size_t length) {
    char path[2 * SIGNED_PATH_BYTES];

    snprintf(path, sizeof path, "%s/%s", shop->folder, name);
    paper_write(path, bytes, length);
}
