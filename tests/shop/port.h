// SPDX-License-Identifier: MIT
/* port: one line of the shop: a pseudo-terminal, the link to it, and the frames that come through it. */
#ifndef SHOP_PORT_H
#define SHOP_PORT_H

#include <stdbool.h>
#include <stdint.h>

#include "play.h"
#include "tally.h"

struct port;

/* Prepares line `line`; nothing is opened yet. `directory` is put before a relative link; NULL: none. */
struct port *port_new(const struct scene *scene, size_t line, const char *directory, struct fault *fault);
/* Closes it and removes the link. NULL is allowed. */
void port_free(struct port *port);

/* Opens a new pseudo-terminal and links to it, or closes and unlinks it. Does nothing if it is so already.
 * Refuses to replace anything but a symbolic link. */
int port_appear(struct port *port, struct fault *fault);
void port_vanish(struct port *port);

/* The descriptor to wait on, -1 while vanished (poll ignores it). */
int port_descriptor(const struct port *port);

/* Reads what has come, answers it and counts it. The play must have been advanced to `now_us`. */
void port_serve(struct port *port, struct play *play, struct tally *tally, int64_t now_us);

/* Delayed replies and lines that an instrument prints by itself: when the next is due (INT64_MAX: none), and
 * sending those that are. True if something was printed unasked, which somebody must be given the time to read. */
int64_t port_due_us(const struct port *port);
bool port_send_due(struct port *port, const struct play *play, int64_t now_us);

/* Writes down bytes that came but never made a frame. */
void port_settle(struct port *port, struct tally *tally, int64_t now_us);

#endif
