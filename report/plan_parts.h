// SPDX-License-Identifier: MIT
/* plan_parts: what the drawings and descriptions of a plan share and nobody else needs. */
#ifndef SOAKLEDGER_PLAN_PARTS_H
#define SOAKLEDGER_PLAN_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "soakledger/fault.h"
#include "soakledger/plan.h"
#include "soakledger/quantity.h"

/* ---- in words ---- */

enum { PLAN_WORDS_MOST = 10, PLAN_WORDS_BYTES = 240, PLAN_NAME_BYTES = 160 };

/* Everything an operation requires, one sentence each; returns how many. */
size_t plan_words(const struct plan *plan, const struct plan_operation *operation, enum temperature_unit unit,
                  char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES]);
/* "quench oil, in fast oil" */
char *plan_words_name(const struct plan_operation *operation, char *out); // PLAN_NAME_BYTES
/* What holds for the whole plan; likewise. */
size_t plan_words_whole(const struct plan *plan, enum temperature_unit unit,
                        char words[PLAN_WORDS_MOST][PLAN_WORDS_BYTES]);

extern const char plan_words_caution[];
extern const char plan_words_scale[];

/* ---- the course of the temperature ---- */

/* A plan drawn is a row of legs: what is held has a level; what lies between is drawn, but the plan does not say
 * how long it takes. */
enum plan_leg_kind {
    PLAN_LEG_RISE,   // with at least one heat of the plan
    PLAN_LEG_LEVEL,  // hold, soak, temper or cold
    PLAN_LEG_QUENCH, // from the soak to handle-warm
    PLAN_LEG_CHANGE, // warming or cooling of which the plan says nothing
    PLAN_LEG_WAIT,   // between two visits, at the room's temperature
};

struct plan_leg {
    enum plan_leg_kind kind;
    const struct plan_operation
        *operation; // NULL for a change; of a rise the first heat; of a wait what comes then
    size_t heats;
    size_t visit; // of a wait: the one before
    int64_t from_mc, to_mc;
};

enum { PLAN_LEGS_MOST = 256 };
#define PLAN_ROOM_MC INT64_C(20000) // drawn where nothing is planned; schematic like the times

size_t plan_course(const struct plan *plan, struct plan_leg legs[PLAN_LEGS_MOST]);
/* Coldest and hottest of the legs. */
void plan_course_range(const struct plan_leg *legs, size_t count, int64_t *low_mc, int64_t *high_mc);

/* Signs that not every terminal has. */
struct plan_glyphs {
    const char *most, *least, *degree, *celsius, *fahrenheit, *dash, *cut;
};
extern const struct plan_glyphs plan_glyphs_plain, plan_glyphs_full;

/* Turns UTF-8 into ASCII in place, character by character: what has no plain sign becomes '?', a degree sign goes.
 */
char *plan_make_plain(char *text);

enum { PLAN_LABEL_BYTES = 96 };
struct plan_labels {
    char kind[PLAN_LABEL_BYTES]; // "soak"
    char name[PLAN_LABEL_BYTES];
    char time[PLAN_LABEL_BYTES];  // "15–40 min"; of a rise its limit
    char level[PLAN_LABEL_BYTES]; // "808 °C"
    char band[PLAN_LABEL_BYTES];  // "802–816 °C"; of a cold "≤ -75 °C"
};
void plan_labels(const struct plan *plan, const struct plan_leg *leg, enum temperature_unit unit,
                 const struct plan_glyphs *glyphs, struct plan_labels *labels);
/* In whole degrees of that unit, and back. */
int64_t plan_shown(int64_t mc, enum temperature_unit unit);
int64_t plan_mc_of_shown(int64_t degrees, enum temperature_unit unit);

/* Shares legs out to panels of at most `width`, whole visits to each; where one visit alone is too wide it gets a
 * panel to itself. `ends` gets the end of each panel; returns how many. */
size_t plan_panels(const struct plan_leg *legs, const float *widths, size_t count, float width,
                   size_t ends[PLAN_LEGS_MOST]);

/* ---- drawings ---- */

struct plan_screen {
    bool utf8;
    bool colour; // weight only: bold and faint
    enum temperature_unit unit;
};
int plan_screen_draw(FILE *out, const struct plan *plan, const struct plan_screen *screen, struct fault *fault);

/* The finished PDF; the caller frees `bytes`. */
int plan_sheet_make(const struct plan *plan, const char *paper, enum temperature_unit unit, int64_t made_ms,
                    unsigned char **bytes, size_t *length, struct fault *fault);

/* ---- a canvas of characters ---- */

/* Each cell is a character, or a pattern of 2 x 4 dots. */
struct canvas;
struct canvas *canvas_open(int columns, int rows, bool utf8); // NULL if memory is short
void canvas_free(struct canvas *canvas);
enum { CANVAS_DOTS_ACROSS = 2, CANVAS_DOTS_DOWN = 4 };
enum canvas_weight { CANVAS_PLAIN, CANVAS_STRONG, CANVAS_FAINT };
/* Text that leaves the canvas is cut off. */
void canvas_text(struct canvas *canvas, int column, int row, enum canvas_weight weight, const char *text);
/* A line of dots, both ends included; in dots from the top left. */
void canvas_line(struct canvas *canvas, int x0, int y0, int x1, int y1);
void canvas_print(const struct canvas *canvas, FILE *out, bool colour);

#endif
