// SPDX-License-Identifier: MIT
/* tool_matrix [FOLDER [FIRST [STEP]]]: draws every certificate of the matrix (or each STEPth from FIRST on) into a
 * folder and reads each back with programs that are not ours (tests/second/read_back.py). Takes a quarter of an
 * hour. Files of certificates that were read back without a fault are removed, unless KEEP is set. */
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "support/matrix.h"

int main(int argc, char **argv) {
    enum { AT_ONCE = 40, COMMAND_BYTES = 1024 };
    const char *folder = argc > 1 ? argv[1] : "build/matrix";
    const size_t first = argc > 2 ? strtoul(argv[2], NULL, 10) : 0,
                 step = argc > 3 ? strtoul(argv[3], NULL, 10) : 1;
    char command[COMMAND_BYTES], name[MATRIX_WORDS_BYTES], words[MATRIX_WORDS_BYTES];
    size_t drawn = 0, largest = 0;
    int faults = 0;

    mkdir(folder, 0777);
    for (size_t i = first; i < matrix_count(); i += step) {
        struct matrix_case of;
        size_t length;

        matrix_case_at(i, &of);
        snprintf(name, sizeof name, "%04zu", i);
        length = matrix_draw(&of, folder, name);
        largest = length > largest ? length : largest;
        drawn++;
        printf("%s: %s, %zu bytes\n", name, matrix_describe(&of, words), length);
        if (drawn % AT_ONCE == 0 || i + step >= matrix_count()) {
            fflush(stdout);
            snprintf(command, sizeof command, "/usr/bin/python3 tests/second/read_back.py --thorough%s %s",
                     getenv("KEEP") != NULL ? " --keep" : "", folder);
            faults |= system(command);
        }
    }
    printf("%zu certificates, the largest of %zu bytes: %s\n", drawn, largest,
           faults == 0 ? "every one as it should be" : "NOT as they should be");
    return faults == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
