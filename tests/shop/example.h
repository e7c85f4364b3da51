// SPDX-License-Identifier: MIT
/* example: a small scenario that tests of the shop share, and bytes written in hex. */
#ifndef SHOP_EXAMPLE_H
#define SHOP_EXAMPLE_H

#include <stdint.h>

#include "scene.h"

enum { EXAMPLE_BYTES = 4096 };

/* One line "bench", one oven "kiln" at 21 C with a load "part", one controller at address 17: holding registers
 * 0 control (one decimal), 1 setpoint, 2 output; input registers 8 and 9 the part, float32 in F. Ends with the
 * header of a programme. */
extern const char example_text[];

/* That, with the programme's lines, read. */
struct scene *example_read_scene(const char *programme, struct fault *fault);

/* "1103" -> 11 03; returns how many. Even number of digits. */
size_t example_bytes_from_hex(const char *hex, uint8_t *bytes);

#endif
