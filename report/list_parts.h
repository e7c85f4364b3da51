// SPDX-License-Identifier: MIT
/* list_parts: what `batch list` and `runs` share: how their rows are chosen, and in which form they come. */
#ifndef SOAKLEDGER_LIST_PARTS_H
#define SOAKLEDGER_LIST_PARTS_H

#include "command.h"
#include "soakledger/assess.h"
#include "soakledger/table.h"

enum { LIST_SHOWN = 20 }; // the newest, where nothing is said

struct list_filter {
    const char *customer, *steel, *charge, *order, *oven, *sensor, *verdict, *from, *to; // NULL: any
    int64_t from_ms, to_ms;
    enum outcome outcome; // valid if verdict is given
    bool all, open_only;
    enum table_form form;
};

/* Takes --csv or --json out of the words. */
int list_take_form(int *argc, char **argv, enum table_form *form, struct fault *fault);
/* `usage` says which of the options the list has: an option that does not stand there is unknown. */
int list_take(struct command *command, int argc, char **argv, const char *usage, struct list_filter *filter,
              struct fault *fault);
/* Nothing fits, and whether that is because there is no such oven or sensor; nothing but on a screen. */
int list_say_none(struct command *command, const struct list_filter *filter, const char *words,
                  struct fault *fault);
/* Does anything but --all and the form narrow the list? */
bool list_is_narrowed(const struct list_filter *filter);
/* Is `part` in `text`, whatever the case of ASCII letters? NULL for `part`: yes. */
bool list_has(const char *text, const char *part);
/* Is that sensor fitted to any of the channels? */
bool list_has_sensor(const struct ledger_channel *channels, size_t count, const char *sensor);

/* Cells. */
struct table_cell list_text(const char *text);
struct table_cell list_text_if(const char *text); // nothing for ""
struct table_cell list_time(int64_t t_ms);        // nothing for 0
struct table_cell list_thousandths(bool known, int64_t value);
struct table_cell list_integer(bool known, int64_t value);
struct table_cell list_truth(bool is);

/* Writes and frees the table if `result` is 0, else frees it alone and fails. */
int list_finish(struct table *table, int result, struct fault *fault);

/* On a screen: date and minutes. QUANTITY_TEXT_BYTES. */
char *list_show_time(const struct command *command, int64_t t_ms, char *out);

#endif
