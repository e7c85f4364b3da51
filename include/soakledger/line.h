// SPDX-License-Identifier: MIT
/* line: one serial line. libserialport opens and sets up real ports; a pseudo-terminal (which it refuses) is a
 * plain descriptor in raw mode. Either way nobody else may use the line meanwhile (flock and TIOCEXCL), and
 * reading and writing never block. */
#ifndef SOAKLEDGER_LINE_H
#define SOAKLEDGER_LINE_H

#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "soakledger/config.h"
#include "soakledger/fault.h"

struct line;

/* EX_NOINPUT if the device is not there, EX_UNAVAILABLE if another program has it, EX_IOERR otherwise. The fault
 * names line and device. `config` is not kept. */
struct line *line_open(const struct config_line *config, struct fault *fault);
void line_close(struct line *line); // NULL is allowed

/* To wait on; owned by the line. */
int line_descriptor(const struct line *line);

/* Bytes read, 0 if none are there now, -1 if the line is gone (unplugged, hung up). */
ssize_t line_read(struct line *line, uint8_t *bytes, size_t most);
/* Bytes written (maybe fewer than asked), -1 if the line is gone. */
ssize_t line_write(struct line *line, const uint8_t *bytes, size_t length);
/* Forgets what has arrived and was not read. */
void line_discard(struct line *line);

#endif
