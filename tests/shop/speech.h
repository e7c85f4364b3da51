// SPDX-License-Identifier: MIT
/* speech: what instruments say in text, and Modbus ASCII (MODBUS over Serial Line V1.02, section 2.5.2) as another
 * form of the server's frames. */
#ifndef SHOP_SPEECH_H
#define SHOP_SPEECH_H

#include "play.h"

enum { SPEECH_BYTES = 640 };

/* The controller's values as a line; its length. */
size_t speech_write_values(const struct play *play, size_t controller, char text[SPEECH_BYTES]);

/* Whether the line, with its end, is that query. */
bool speech_is_query(const char *query, const uint8_t *bytes, size_t length);

/* The frame in an ASCII line, sealed as an RTU frame is; its length, 0 if it is none. */
size_t speech_open_ascii(const uint8_t *bytes, size_t length, uint8_t frame[SERVER_FRAME_BYTES]);
/* And back. */
size_t speech_close_ascii(const uint8_t *frame, size_t length, char text[SPEECH_BYTES]);

#endif
