// SPDX-License-Identifier: MIT
#include "paper.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { COMMAND_BYTES = 2048, FIRST_BYTES = 65536, FIRST_WORDS = 256 };

char *paper_run(int *status, const char *format, ...) {
    char command[COMMAND_BYTES];
    size_t used = 0, capacity = FIRST_BYTES, got;
    char *text = malloc(capacity);
    va_list args;
    FILE *pipe;
    int code;

    va_start(args, format);
    vsnprintf(command, sizeof command, format, args);
    va_end(args);
    pipe = popen(command, "r");
    if (pipe == NULL || text == NULL)
        abort();
    while ((got = fread(text + used, 1, capacity - used - 1, pipe)) > 0) {
        used += got;
        if (capacity - used < FIRST_BYTES / 2) {
            capacity *= 2;
            text = realloc(text, capacity);
            if (text == NULL)
                abort();
        }
    }
    text[used] = '\0';
    code = pclose(pipe);
    if (status != NULL)
        *status = code >= 0 ? code >> 8 : code; // as wait(2) packs an exit status
    return text;
}

void paper_write(const char *path, const void *bytes, size_t length) {
    FILE *file = fopen(path, "wb");

    if (file == NULL || fwrite(bytes, 1, length, file) != length || fclose(file) != 0)
        abort();
}

char *paper_text(const char *path) {
    return paper_run(NULL, "pdftotext -q -layout -enc UTF-8 %s - 2>/dev/null", path);
}

/* Every run of white space becomes one space, in place. */
static char *paper_join(char *text) {
    char *to = text;

    for (const char *from = text; *from != '\0'; from++) {
        const bool blank = strchr(" \n\f\r\t", *from) != NULL;

        if (!blank)
            *to++ = *from;
        else if (to > text && to[-1] != ' ')
            *to++ = ' ';
    }
    *to = '\0';
    return text;
}

char *paper_flat(const char *path) {
    return paper_join(paper_run(NULL, "pdftotext -q -enc UTF-8 %s - 2>/dev/null", path));
}

char *paper_rows(const char *path) {
    return paper_join(paper_text(path));
}

size_t paper_count(const char *text, const char *what) {
    size_t count = 0;

    for (const char *at = strstr(text, what); at != NULL; at = strstr(at + 1, what))
        count++;
    return count;
}

bool paper_has(const char *text, const char *what) {
    const bool has = strstr(text, what) != NULL;

    if (!has)
        fprintf(stderr, "missing: %s\n", what);
    return has;
}

struct paper_word *paper_words(const char *path, size_t *count) {
    char *text = paper_run(NULL, "pdftotext -q -bbox -enc UTF-8 %s - 2>/dev/null", path);
    size_t capacity = FIRST_WORDS, page = 0;
    struct paper_word *words = calloc(capacity, sizeof *words);

    if (words == NULL)
        abort();
    *count = 0;
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
        struct paper_word word = {.page = page};

        if (strstr(line, "<page ") != NULL)
            page++;
        if (sscanf(line, " <word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\">%255[^<]", &word.left,
                   &word.top, &word.right, &word.bottom, word.text) != 5)
            continue;
        if (*count == capacity) {
            capacity *= 2;
            words = realloc(words, capacity * sizeof *words);
            if (words == NULL)
                abort();
        }
        words[(*count)++] = word;
    }
    free(text);
    return words;
}

char *paper_find_overlap(const struct paper_word *words, size_t count) {
    const double slack = 0.6; // boxes are the font's, taller than the letters
    const double taller = 0.2;

    for (size_t i = 0; i < count; i++)
        for (size_t k = i + 1; k < count && words[k].page == words[i].page; k++) {
            const struct paper_word *a = &words[i], *b = &words[k];
            const double height = (a->bottom - a->top) * taller;
            char *found = NULL;

            if (a->left + slack < b->right && b->left + slack < a->right && a->top + height < b->bottom - height &&
                b->top + height < a->bottom - height &&
                asprintf(&found, "page %zu: '%s' and '%s'", a->page, a->text, b->text) > 0)
                return found;
        }
    return NULL;
}

const char *paper_find_outside(const struct paper_word *words, size_t count, double left, double top, double right,
                               double bottom) {
    for (size_t i = 0; i < count; i++)
        if (words[i].left < left || words[i].right > right || words[i].top < top || words[i].bottom > bottom)
            return words[i].text;
    return NULL;
}

bool paper_is_sound(const char *path) {
    int status;
    char *said = paper_run(&status, "qpdf --check %s 2>&1", path);
    char *fonts = paper_run(NULL, "pdffonts %s 2>/dev/null", path);
    const size_t embedded = paper_count(fonts, "yes yes yes"), all = paper_count(fonts, "DejaVu");
    const bool sound = status == 0 && all > 0 && embedded == all;

    if (!sound)
        fprintf(stderr, "%s%s", said, fonts);
    free(said);
    free(fonts);
    return sound;
}

unsigned char *paper_picture(const char *path, int page, int dpi, size_t *width, size_t *height) {
    char command[COMMAND_BYTES];
    unsigned char *dots;
    FILE *pipe;
    int most;

    snprintf(command, sizeof command, "pdftoppm -q -gray -r %d -f %d -l %d %s 2>/dev/null", dpi, page, page, path);
    pipe = popen(command, "r");
    if (pipe == NULL || fscanf(pipe, "P5 %zu %zu %d", width, height, &most) != 3 || fgetc(pipe) == EOF)
        abort();
    dots = malloc(*width * *height);
    if (dots == NULL || fread(dots, 1, *width * *height, pipe) != *width * *height)
        abort();
    pclose(pipe);
    return dots;
}
