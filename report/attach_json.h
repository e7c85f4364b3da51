// SPDX-License-Identifier: MIT
/* attach_json: what the files that make and read the facts share. */
#ifndef SOAKLEDGER_ATTACH_JSON_H
#define SOAKLEDGER_ATTACH_JSON_H

#include "soakledger/attach.h"

/* Text from people, cleaned; NULL if memory is short. */
json_t *attach_text(const char *text);
/* A time, or null for 0. */
json_t *attach_moment(int64_t t_ms);

#endif
