// SPDX-License-Identifier: MIT
#include "tally.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server.h"

enum { BYTE_VALUES = 256, MS_PER_S = 1000 };

struct tally {
    const struct scene *scene;
    FILE *file;                                             // NULL: none
    uint64_t frames[SCENE_LINES][BYTE_VALUES][BYTE_VALUES]; // by line, address, function
    uint64_t queries[SCENE_LINES];
};

struct tally *tally_open(const struct scene *scene, const char *path, struct fault *fault) {
    struct tally *tally = calloc(1, sizeof *tally);

    if (tally == NULL) {
        fault_set_errno(fault, EX_OSERR, "cannot hold the counts");
        return NULL;
    }
    tally->scene = scene;
    if (path != NULL) {
        tally->file = fopen(path, "we");
        if (tally->file == NULL) {
            fault_set_errno(fault, EX_CANTCREAT, "cannot write %s", path);
            free(tally);
            return NULL;
        }
    }
    return tally;
}

void tally_close(struct tally *tally) {
    if (tally == NULL)
        return;
    tally_write(tally);
    if (tally->file != NULL)
        fclose(tally->file);
    free(tally);
}

static void note(struct tally *tally, size_t line, int64_t t_ms, const uint8_t *bytes, size_t length,
                 const char *why) {
    if (tally->file == NULL)
        return;
    fprintf(tally->file, "other line=%s time=%" PRId64 ".%03d bytes=", tally->scene->lines[line].name,
            t_ms / MS_PER_S, (int)(t_ms % MS_PER_S));
    for (size_t i = 0; i < length; i++)
        fprintf(tally->file, "%02X", bytes[i]);
    fprintf(tally->file, " why=%s\n", why);
    fflush(tally->file);
}

void tally_add_frame(struct tally *tally, size_t line, int64_t t_ms, const uint8_t *frame, size_t length) {
    const uint8_t function = frame[1];

    tally->frames[line][frame[0]][function]++;
    if (server_is_read(frame, length))
        return;
    switch (function) {
    case SERVER_WRITE_COIL:
    case SERVER_WRITE_REGISTER:
    case SERVER_WRITE_COILS:
    case SERVER_WRITE_REGISTERS: note(tally, line, t_ms, frame, length, "write"); break;
    case SERVER_READ_HOLDING:
    case SERVER_READ_INPUT: note(tally, line, t_ms, frame, length, "malformed-read"); break;
    default: note(tally, line, t_ms, frame, length, "other-function"); break;
    }
}

void tally_add_query(struct tally *tally, size_t line) {
    tally->queries[line]++;
}

void tally_add_junk(struct tally *tally, size_t line, int64_t t_ms, const uint8_t *bytes, size_t length) {
    note(tally, line, t_ms, bytes, length, "no-frame");
}

void tally_write(struct tally *tally) {
    if (tally->file == NULL)
        return;
    for (size_t line = 0; line < tally->scene->line_count; line++)
        for (int address = 0; address < BYTE_VALUES; address++)
            for (int function = 0; function < BYTE_VALUES; function++)
                if (tally->frames[line][address][function] > 0)
                    fprintf(tally->file, "count line=%s address=%d function=%02X frames=%" PRIu64 "\n",
                            tally->scene->lines[line].name, address, (unsigned)function,
                            tally->frames[line][address][function]);
    for (size_t i = 0; i < tally->scene->controller_count; i++) {
        const struct scene_controller *controller = &tally->scene->controllers[i];

        if (controller->speaks == SPEAKS_ANSWERS)
            fprintf(tally->file, "count line=%s query=%s times=%" PRIu64 "\n",
                    tally->scene->lines[controller->line].name, controller->query,
                    tally->queries[controller->line]);
    }
    fprintf(tally->file, "end of counts\n");
    fflush(tally->file);
}
