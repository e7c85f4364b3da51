// SPDX-License-Identifier: MIT
/* Hours of eight ovens with whatever goes wrong in weeks; the short form of `make long`, for which see
 * tests/long/play. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>

enum { COMMAND_BYTES = 512, OUTPUT_BYTES = 65536 };
static const char days[] = "0.2", interval_s[] = "10";

static void hours_with_faults_are_all_in_the_ledger(void **state) {
    static char output[OUTPUT_BYTES];
    const char *told = getenv("SOAKLEDGER_BUILD"), *build = told != NULL ? told : "build/gcc";
    char folder[] = "/tmp/soakledger-long-XXXXXX", command[COMMAND_BYTES];
    size_t length;
    FILE *pipe;
    int status;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(command, sizeof command, "exec 2>&1; /usr/bin/python3 tests/long/play %s %s/play %s %s", build, folder,
             days, interval_s);
    pipe = popen(command, "r"); // NOLINT(cert-env33-c): a test's own command
    assert_non_null(pipe);
    length = fread(output, 1, sizeof output - 1, pipe);
    output[length] = '\0';
    status = pclose(pipe);
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
        fail_msg("'%s' ended with %d:\n%s", command, status, output);
    snprintf(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0); // NOLINT(cert-env33-c): a test's own command
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(hours_with_faults_are_all_in_the_ledger)};

    return cmocka_run_group_tests(tests, NULL, NULL);
}
