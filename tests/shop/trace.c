// SPDX-License-Identifier: MIT
#include "trace.h"

#include <math.h>
#include <string.h>
#include <time.h>

#include "play.h"

enum { MS_PER_S = 1000, TIME_BYTES = 32 };
static const double FULL_OUTPUT = 100; // per cent

static void write_value(FILE *out, double value_c) {
    if (isnan(value_c))
        fputs(",", out);
    else
        fprintf(out, ",%.3f", value_c);
}

static void write_row(const struct scene *scene, const struct play *play, size_t oven, int64_t t_ms, FILE *out) {
    const time_t t_s = (time_t)(t_ms / MS_PER_S);
    char text[TIME_BYTES];
    struct tm parts;

    strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", gmtime_r(&t_s, &parts));
    fprintf(out, "%s.%03dZ", text, (int)(t_ms % MS_PER_S));
    write_value(out, play_show_control(play, oven));
    for (size_t i = 0; i < scene->load_count; i++)
        if (scene->loads[i].oven == oven)
            write_value(out, play_show_load(play, i));
    write_value(out, play_oven(play, oven)->setpoint_c);
    write_value(out, play_oven(play, oven)->output * FULL_OUTPUT);
    fputs("\n", out);
}

int trace_write(const struct scene *scene, const char *oven, int64_t step_ms, int64_t until_ms, FILE *out,
                struct fault *fault) {
    struct play *play;
    size_t at = 0;

    while (at < scene->oven_count && strcmp(scene->ovens[at].name, oven) != 0)
        at++;
    if (at == scene->oven_count)
        return fault_set(fault, EX_USAGE, "'%s' is unknown: expected the name of an oven", oven);
    play = play_open(scene, fault);
    if (play == NULL)
        return -1;
    fputs("time,control_c", out);
    for (size_t i = 0; i < scene->load_count; i++)
        if (scene->loads[i].oven == at)
            fprintf(out, ",%s_c", scene->loads[i].name);
    fputs(",setpoint_c,output_percent\n", out);
    for (int64_t t_ms = scene->start_ms; t_ms <= until_ms; t_ms += step_ms) {
        play_advance(play, t_ms);
        write_row(scene, play, at, t_ms, out);
    }
    play_close(play);
    return fflush(out) == 0 ? 0 : fault_set_errno(fault, EX_IOERR, "cannot write the trace");
}
