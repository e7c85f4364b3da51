// SPDX-License-Identifier: MIT
#include "soakledger/cause.h"
const char *cause_name(enum cause cause);
const char *cause_name(enum cause cause) {
    return cause == CAUSE_SENSOR ? "thermocouple" : "x";
}
