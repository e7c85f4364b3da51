// SPDX-License-Identifier: MIT
/* play: a scenario brought to life. Knows the time only by being told; no file, no terminal.
 *
 * Everything changes at whole steps after the scenario's start and at no other time: a value depends on the
 * scenario, the moment and earlier writes, never on who asked how often. Noise is a function of seed,
 * sensor and step, so asking does not use it up.
 */
#ifndef SHOP_PLAY_H
#define SHOP_PLAY_H

#include "scene.h"
#include "server.h"

struct play;

/* The scene must outlive the play. NULL if there is no memory. */
struct play *play_open(const struct scene *scene, struct fault *fault);
void play_close(struct play *play);

/* Moves on to `t_ms`; a time already passed changes nothing. */
void play_advance(struct play *play, int64_t t_ms);

/* As instruments show it, °C: with noise, offset and drift; NAN if the sensor is open. */
double play_show_control(const struct play *play, size_t oven);
double play_show_load(const struct play *play, size_t load);
/* The oven itself, for a closer look. */
const struct heat_oven *play_oven(const struct play *play, size_t oven);

const struct scene *play_scene(const struct play *play);
/* What register `index` of the scene shows, in its unit; NAN: open sensor. */
double play_show_register(const struct play *play, size_t index);
bool play_has_power(const struct play *play, size_t controller);

bool play_line_is_there(const struct play *play, size_t line);
/* When a line next vanishes or returns, INT64_MAX for never. */
int64_t play_next_line_change_ms(const struct play *play);

/* The controllers on `line`, to be served at the time play_advance was last told. The context is owned by
 * the play. */
struct server_device play_device(struct play *play, size_t line);
/* Whether the line garbles the reply of that number; the same number has the same fate. */
bool play_is_garbled(const struct play *play, size_t line, uint64_t number);
int64_t play_reply_delay_ms(const struct play *play, size_t line, int address);

/* What a register shows for `value` (in its quantity's unit; NAN: open sensor). Writes 1 or 2 words. */
void play_encode(const struct scene_register *at, double value, uint16_t *words);

#endif
