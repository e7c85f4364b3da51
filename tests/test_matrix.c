// SPDX-License-Identifier: MIT
/* Certificates of every kind, read back as a stranger would: of the matrix of tool_matrix.c so many that any two
 * levels of any two factors meet. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/matrix.h"
#include "support/paper.h"

enum { FOLDER_BYTES = 64, NAME_BYTES = 32, MOST_BYTES = 400000 };
#ifdef __SANITIZE_ADDRESS__
enum { STEP = 5 }; // slow: a sample, since the product's own build draws them all
#else
enum { STEP = 1 };
#endif

static void lets_any_two_levels_meet(void **state) {
    size_t count;
    struct matrix_case *cases = matrix_pairs(&count);

    (void)state;
    assert_true(count < 60);
    for (size_t a = 0; a < MATRIX_FACTORS; a++)
        for (size_t b = a + 1; b < MATRIX_FACTORS; b++)
            for (size_t i = 0; i < matrix_levels[a] * matrix_levels[b]; i++) {
                bool met = false;

                for (size_t k = 0; k < count; k++)
                    met = met ||
                          (cases[k].level[a] == i % matrix_levels[a] && cases[k].level[b] == i / matrix_levels[a]);
                assert_true(met);
            }
    free(cases);
}

static void lays_out_whatever_there_is(void **state) {
    char folder[FOLDER_BYTES] = "/tmp/soakledger-matrix-XXXXXX", name[NAME_BYTES], *said;
    size_t count;
    struct matrix_case *cases = matrix_pairs(&count);
    int status;

    (void)state;
    assert_non_null(mkdtemp(folder));
    for (size_t i = 0; i < count; i += STEP) {
        snprintf(name, sizeof name, "%02zu", i);
        assert_true(matrix_draw(&cases[i], folder, name) < MOST_BYTES);
    }
    free(cases);
    said = paper_run(&status, "/usr/bin/python3 tests/second/read_back.py %s 2>&1; s=$?; rm -r %s; exit $s", folder,
                     folder);
    if (status != 0)
        fail_msg("%s", said);
    assert_string_equal(said, "");
    free(said);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lets_any_two_levels_meet),
        cmocka_unit_test(lays_out_whatever_there_is),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
