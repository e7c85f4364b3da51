// SPDX-License-Identifier: MIT
#include "soakledger/wire.h"

#include "wires.h"

const struct wire *wire_of_kind(enum wire_kind kind) {
    switch (kind) {
    case WIRE_MODBUS_RTU: return wire_rtu();
    case WIRE_MODBUS_ASCII: return wire_ascii();
    case WIRE_POLLED_TEXT: return wire_polled();
    case WIRE_FREE_TEXT: break;
    }
    return wire_free();
}

const char *wire_status_name(enum wire_status status) {
    static const char *const names[WIRE_STATUS_COUNT] = {
        [WIRE_MORE] = "incomplete",
        [WIRE_DONE] = "reply",
        [WIRE_REFUSED] = "refused",
        [WIRE_BAD_CHECK] = "check does not hold",
        [WIRE_WRONG_ADDRESS] = "reply of another address",
        [WIRE_WRONG_FUNCTION] = "reply to another function",
        [WIRE_SHORT] = "reply too short",
        [WIRE_LONG] = "reply too long",
        [WIRE_SPLICED] = "two replies in one",
        [WIRE_UNREADABLE] = "no value where one was expected",
    };

    return (unsigned)status < WIRE_STATUS_COUNT ? names[status] : "unknown status";
}

void wire_begin_registers(struct wire_request *request, const struct channel_fitting *fitting) {
    request->function = fitting->function;
    request->first = fitting->first_register;
    request->count = (uint16_t)channel_count_registers(fitting->encoding);
}

/* Whether the channel's registers touch or overlap the request's and the whole still fits one reply. */
bool wire_join_registers(struct wire_request *request, const struct channel_fitting *fitting) {
    const unsigned first = fitting->first_register;
    const unsigned end = first + (unsigned)channel_count_registers(fitting->encoding);

    if (fitting->function != request->function || first > (unsigned)request->first + request->count ||
        end - request->first > MODBUS_MOST_REGISTERS)
        return false;
    if (end - request->first > request->count)
        request->count = (uint16_t)(end - request->first);
    return true;
}

bool wire_names_itself(const struct wire_request *request) {
    (void)request;
    return true;
}
