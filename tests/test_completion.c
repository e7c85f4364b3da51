// SPDX-License-Identifier: MIT
/* What bash offers, asked of bash. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../report/command.h"
#include "support/ledger_fixture.h"
#include "support/paper.h"

static int begin(void **state) {
    struct ledger_fixture *fixture = calloc(1, sizeof *fixture);

    fixture_make(fixture, "name = Toolroom\n", false);
    fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "", "");
    fixture_open_batch(fixture, 0, FIXTURE_PLAN_HARDEN, "", "");
    *state = fixture;
    return 0;
}

static int end(void **state) {
    fixture_remove(*state);
    free(*state);
    return 0;
}

/* The words offered after `typed`, whose last word is being completed, separated by blanks. */
static char *offered(const struct ledger_fixture *fixture, const char *typed) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    int status;
    char *said =
        paper_run(&status,
                  "PATH=$(realpath %s):$PATH bash --norc -c '. report/soakledger.bash; COMP_WORDS=(soakledger -c "
                  "%s %s); COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); _soakledger; echo \" ${COMPREPLY[*]} \"'",
                  build != NULL ? build : "build/gcc", fixture->config_path, typed);

    assert_int_equal(status, 0);
    return said;
}

static void expect(const struct ledger_fixture *fixture, const char *typed, const char *words) {
    char *said = offered(fixture, typed);

    if (strcmp(said, words) != 0)
        fail_msg("after '%s': %s", typed, said);
    free(said);
}

static void every_command_is_offered(void **state) {
    char *said = offered(*state, "\"\"");

    for (size_t i = 0; i < command_entry_count; i++) {
        char word[64];

        snprintf(word, sizeof word, " %s ", command_entries[i].name);
        if (strstr(said, word) == NULL)
            fail_msg("%s is not offered: %s", word, said);
    }
    free(said);
}

static void what_is_known_is_offered(void **state) {
    const struct ledger_fixture *fixture = *state;

    expect(fixture, "cert", " certificate \n");
    expect(fixture, "certificate \"\"", " 1 2 \n");
    expect(fixture, "batch s", " split show \n");
    expect(fixture, "batch show \"\"", " 1 2 \n");
    expect(fixture, "check l", " list \n");
    expect(fixture, "check hardening.c", " hardening.control \n");
    expect(fixture, "survey harden", " hardening \n");
    expect(fixture, "sensor show N", " N-201 \n");
    expect(fixture, "sensor list --", " --csv --json --help \n");
    expect(fixture, "drift temp", "  \n");
    expect(fixture, "now --o", " --once \n");
    expect(fixture, "batch list --verdict not-", " not-proven not-met \n");
    expect(fixture, "plan check report/comp", "  \n");
    expect(fixture, "plan check report/command_t", " report/command_table.c \n");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(every_command_is_offered, begin, end),
        cmocka_unit_test_setup_teardown(what_is_known_is_offered, begin, end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
