// SPDX-License-Identifier: MIT
/* probe: finds Modbus RTU controllers on a line, and what is in their registers. Only asks: function 03 or 04.
 *
 * The search, the map and the table are pure: they say what to ask next and take what came of it. Asking is done
 * by probe_ask alone.
 */
#ifndef SOAKLEDGER_PROBE_H
#define SOAKLEDGER_PROBE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/fault.h"
#include "soakledger/line.h"
#include "soakledger/modbus.h"

enum {
    PROBE_SETTINGS = 40,
    PROBE_LAST_ADDRESS = 247,
    PROBE_FIRST_ADDRESSES = 16, // looked at unless all are wished for
    PROBE_TEXT_BYTES = 160,
};

struct probe_setting {
    int speed_baud;
    enum parity parity;
    int stop_bits;
};

/* "19200 8E1". PROBE_TEXT_BYTES. */
char *probe_name_setting(const struct probe_setting *setting, char *out);

/* ---- the search ---- */

/* 0, or false, for what is not known. */
struct probe_wish {
    int speed_baud;
    bool parity_known;
    enum parity parity;
    int stop_bits;
    int address;
    bool all_addresses;
    int function;
    bool one_setting; // a pseudo-terminal: speed and parity mean nothing, the first will do
};

struct probe_try {
    struct probe_setting setting;
    int address;
    uint8_t function;
};

/* Order: every address at one setting, then the next setting, the likeliest first; all that with function 03, then
 * all with 04. When a controller has answered, the search ends with its setting: what else is on the line speaks
 * like it. */
struct probe_search {
    struct probe_setting settings[PROBE_SETTINGS];
    size_t setting_count;
    uint8_t functions[2];
    size_t function_count;
    int first_address, last_address;
    size_t setting, function; // of the next try
    int address;
    bool found_any;
    uint8_t found[PROBE_LAST_ADDRESS + 1]; // the function that was answered, 0: none
};

void probe_begin_search(struct probe_search *search, const struct probe_wish *wish);
/* False when the search is over. */
bool probe_next_try(const struct probe_search *search, struct probe_try *next);
/* What came of that try. An answer is found under the address that gave it: it may be a late one. */
void probe_note_silence(struct probe_search *search);
void probe_note_answer(struct probe_search *search, int address);
/* Tries that are left if nobody answers. */
size_t probe_count_tries(const struct probe_search *search);

/* ---- the map ---- */

enum { PROBE_RANGES = 256 };
struct probe_range {
    uint16_t first;
    uint32_t count;
};

/* Which registers of a function exist within [first, end). A run's end is found by halving; where a register is
 * missing, the next one is asked for. A request for several registers that is refused though each exists only
 * shows that the controller gives fewer at once. */
struct probe_map {
    uint32_t first, end;
    uint32_t at;          // all before it is known
    uint32_t good, wrong; // of a run beginning at `at`: so many are there; so many at once are refused
    uint16_t most_at_once;
    size_t range_count;
    bool full; // more ranges than there is room for: the map ends there
    struct probe_range ranges[PROBE_RANGES];
};

void probe_begin_map(struct probe_map *map, uint32_t first, uint32_t count);
/* False when the map is drawn. */
bool probe_next_block(const struct probe_map *map, uint16_t *first, uint16_t *count);
void probe_note_block(struct probe_map *map, bool given);
bool probe_has_register(const struct probe_map *map, uint32_t number);
/* "0 to 9, 40": PROBE_TEXT_BYTES, cut with "..." if there are more. */
char *probe_name_ranges(const struct probe_map *map, char *out);

/* ---- the table ---- */

/* Two lines of column heads, each at most 80 columns with its newline's place. */
extern const char probe_table_head[];
/* One register as each encoding would read it. `next` is the register after it, NULL if that is not known. `mark`
 * is shown in front. PROBE_TEXT_BYTES. */
char *probe_show_register(char mark, uint16_t number, uint16_t value, const uint16_t *next, char *out);

/* ---- asking ---- */

enum probe_answer {
    PROBE_GIVEN,
    PROBE_REFUSED, // an exception
    PROBE_SILENT,  // nothing came
    PROBE_GARBLED, // something came that is no reply
    PROBE_OTHER,   // a reply of another address
    PROBE_STOPPED, // `stop` became readable
    PROBE_LOST,    // the line is gone
};

struct probe_line {
    struct line *line;
    struct clock *clock;
    int stop; // descriptor that becomes readable when the user has had enough; -1: none
    int speed_baud;
    int64_t reply_within_ms;
    int64_t ready_us; // not earlier than this may anything be sent
};

struct probe_reply {
    uint8_t exception;                         // with PROBE_REFUSED
    uint8_t address;                           // with PROBE_OTHER: whose
    uint16_t registers[MODBUS_MOST_REGISTERS]; // with PROBE_GIVEN
};

/* The kind of line that a device is. */
enum line_kind probe_find_kind(const char *device);
/* Opens the line, closing what was open. EX_UNAVAILABLE if another program has it, EX_NOPERM if the user may not,
 * else as line_open; `probe`'s other members are set by the caller. */
int probe_open_line(struct probe_line *probe, const char *device, const struct probe_setting *setting,
                    struct fault *fault);
void probe_close_line(struct probe_line *probe);
/* Listens without a word. How many bytes came. -1 if the line is gone or the user has had enough. */
int64_t probe_listen(struct probe_line *probe, int64_t for_ms);
/* One request and what came of it. */
enum probe_answer probe_ask(struct probe_line *probe, int address, uint8_t function, uint16_t first, uint16_t count,
                            struct probe_reply *reply);

#endif
