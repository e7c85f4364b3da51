// SPDX-License-Identifier: MIT
/* What the wires' own files share. */
#ifndef WIRE_WIRES_H
#define WIRE_WIRES_H

#include "soakledger/wire.h"

const struct wire *wire_rtu(void);
const struct wire *wire_ascii(void);
const struct wire *wire_polled(void);
const struct wire *wire_free(void);

/* Of both kinds of Modbus. What they share of the table stands once. */
#define WIRE_MODBUS                                                                                                \
    .asks = true, .halves = true, .begin = wire_begin_registers, .join = wire_join_registers,                      \
    .names_itself = wire_names_itself, .gap_us = modbus_t35_us
void wire_begin_registers(struct wire_request *request, const struct channel_fitting *fitting);
bool wire_join_registers(struct wire_request *request, const struct channel_fitting *fitting);
bool wire_names_itself(const struct wire_request *request);

#endif
