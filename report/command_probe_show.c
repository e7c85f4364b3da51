// SPDX-License-Identifier: MIT
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>

#include "command_probe.h"
#include "soakledger/words.h"

static const char LEDGER_PATH[] = "/var/lib/soakledger/shop.ledger"; // where the package makes room for it

enum {
    ILLEGAL_FUNCTION = 1, // Application Protocol, section 7
    ASKS = 3,
    SILENCES = 3, // in a row, after which a controller is taken to have left
    TABLE_LINES_AROUND = 5,
    FEWEST_ROWS = 4,
    MOST_ROWS = 125,
    REFRESH_MS = 1000,
    TIME_BYTES = 16,
};

/* ---- which registers there are ---- */

/* Asks again where nothing, or nothing good, came back. */
static enum probe_answer command_ask(struct probing *probing, uint8_t function, uint16_t first, uint16_t count,
                                     struct probe_reply *reply) {
    enum probe_answer answer = PROBE_SILENT;

    for (int i = 0; i < ASKS; i++) {
        answer = probe_ask(&probing->line, probing->address, function, first, count, reply);
        if (answer != PROBE_SILENT && answer != PROBE_GARBLED && answer != PROBE_OTHER)
            break;
    }
    return answer;
}

/* What ended the drawing of a map before its end: 0 nothing, 1 the user, -1 with a fault. */
static int command_draw_map(struct probing *probing, uint8_t function, struct probe_map *map, bool *silent,
                            struct fault *fault) {
    struct probe_reply reply = {.exception = 0};
    uint16_t first, count;
    int silences = 0;

    *silent = false;
    while (probe_next_block(map, &first, &count)) {
        char text[PROBE_TEXT_BYTES];
        enum probe_answer answer;
        int ended;

        snprintf(text, sizeof text, "Which registers has function %d? At %u of %u to %u", function, (unsigned)first,
                 (unsigned)map->first, (unsigned)map->end - 1);
        command_show_progress(probing, text);
        answer = command_ask(probing, function, first, count, &reply);
        ended = command_lost_or_stopped(probing, answer, fault);
        if (ended != 0)
            return ended;
        if (answer == PROBE_REFUSED && reply.exception == ILLEGAL_FUNCTION)
            return 0;
        silences = answer == PROBE_GIVEN || answer == PROBE_REFUSED ? 0 : silences + 1;
        *silent = silences == SILENCES;
        if (*silent)
            return 0;
        probe_note_block(map, answer == PROBE_GIVEN);
    }
    return 0;
}

static void command_print_map(const struct probing *probing, uint8_t function, const struct probe_map *map,
                              bool silent) {
    char ranges[PROBE_TEXT_BYTES], line[2 * PROBE_TEXT_BYTES];

    snprintf(line, sizeof line, "Function %d (%s registers): %s of %u to %u.", function,
             function == MODBUS_READ_HOLDING ? "holding" : "input",
             map->range_count > 0 ? probe_name_ranges(map, ranges) : "none", (unsigned)map->first,
             (unsigned)map->end - 1);
    command_print(probing->out, 2, line);
    if (silent)
        fprintf(probing->out, "  It gave no answer at %u: what lies behind is not known.\n", (unsigned)map->at);
    if (map->full)
        fprintf(probing->out, "  There are more: --registers %u-%u.\n", (unsigned)map->at, (unsigned)map->end - 1);
    fflush(probing->out);
}

int command_map(struct probing *probing, struct fault *fault) {
    for (int i = 0; i < PROBING_FUNCTIONS; i++) {
        const uint8_t function = (uint8_t)(MODBUS_READ_HOLDING + i);
        struct probe_map *map = &probing->maps[i];
        bool silent;
        int ended;

        if (probing->wanted_function != 0 && probing->wanted_function != function)
            continue;
        probe_begin_map(map, probing->first, probing->count);
        ended = command_draw_map(probing, function, map, &silent, fault);
        command_show_progress(probing, "");
        if (ended != 0)
            return ended;
        command_print_map(probing, function, map, silent);
        if (probing->function == 0 && map->range_count > 0)
            probing->function = function;
    }
    return 0;
}

/* ---- what is in them ---- */

struct cell {
    uint16_t number, value;
    bool known, changed_now, changed_before;
};

struct table {
    struct cell cells[MOST_ROWS + 1]; // the one after the last row serves as its second half
    size_t count, rows, left_out;
    uint16_t most_at_once;
    uint64_t readings;
    bool answered;
    unsigned width;
};

static const struct probe_map *command_shown_map(const struct probing *probing) {
    return &probing->maps[probing->function - MODBUS_READ_HOLDING];
}

static size_t command_most_rows(const struct probing *probing, struct table *table) {
    struct winsize window;

    table->width = COMMAND_LINE_COLUMNS;
    if (!probing->on_screen || ioctl(fileno(probing->out), TIOCGWINSZ, &window) != 0 || window.ws_row == 0)
        return MOST_ROWS;
    if (window.ws_col > 1 && window.ws_col < table->width)
        table->width = window.ws_col;
    if (window.ws_row < TABLE_LINES_AROUND + FEWEST_ROWS)
        return FEWEST_ROWS;
    return window.ws_row - TABLE_LINES_AROUND < MOST_ROWS ? (size_t)window.ws_row - TABLE_LINES_AROUND : MOST_ROWS;
}

static void command_lay_table(const struct probing *probing, struct table *table) {
    const struct probe_map *map = command_shown_map(probing);
    const size_t most = command_most_rows(probing, table);

    table->most_at_once = map->most_at_once;
    for (size_t i = 0; i < map->range_count; i++) {
        for (uint32_t k = 0; k < map->ranges[i].count; k++) {
            if (table->count <= most)
                table->cells[table->count++].number = (uint16_t)(map->ranges[i].first + k);
            else
                table->left_out++;
        }
    }
    table->rows = table->count;
    if (table->count > most) {
        table->rows = most;
        table->left_out++;
    }
}

static void command_note_value(const struct table *table, struct cell *cell, uint16_t value) {
    cell->changed_before = cell->changed_before || cell->changed_now;
    cell->changed_now = cell->known && cell->value != value;
    cell->value = value;
    cell->known = table->answered;
}

/* Reads every cell, as many at once as the controller is known to give. 1: the user has had enough. */
static int command_read_table(struct probing *probing, struct table *table, struct fault *fault) {
    table->answered = true;
    table->readings++;
    for (size_t i = 0, count; i < table->count; i += count) {
        struct probe_reply reply;
        enum probe_answer answer;
        int ended;

        for (count = 1; i + count < table->count && count < table->most_at_once; count++)
            if (table->cells[i + count].number != table->cells[i].number + count)
                break;
        answer = probe_ask(&probing->line, probing->address, probing->function, table->cells[i].number,
                           (uint16_t)count, &reply);
        ended = command_lost_or_stopped(probing, answer, fault);
        if (ended != 0)
            return ended;
        if (answer != PROBE_GIVEN) {
            table->answered = false;
            return 0;
        }
        for (size_t k = 0; k < count; k++)
            command_note_value(table, &table->cells[i + k], reply.registers[k]);
    }
    return 0;
}

static void command_end_line(const struct probing *probing) {
    fputs(probing->on_screen ? "\033[K\n" : "\n", probing->out);
}

static void command_print_cell(const struct probing *probing, const struct table *table, size_t index) {
    const struct cell *cell = &table->cells[index], *next = cell + 1;
    const bool pair = index + 1 < table->count && next->known && next->number == cell->number + 1;
    char mark = ' ';
    char row[PROBE_TEXT_BYTES];

    if (cell->changed_now)
        mark = '*';
    else if (cell->changed_before)
        mark = '+';
    if (cell->known)
        probe_show_register(mark, cell->number, cell->value, pair ? &next->value : NULL, row);
    else
        snprintf(row, sizeof row, " %5u  no answer yet", (unsigned)cell->number);
    fprintf(probing->out, "%s%.*s%s", cell->changed_now && probing->bold ? "\033[1m" : "", (int)table->width, row,
            cell->changed_now && probing->bold ? "\033[0m" : "");
    command_end_line(probing);
}

static void command_print_table(const struct probing *probing, const struct table *table) {
    const time_t now_s = time(NULL);
    char time_text[TIME_BYTES], line[2 * PROBE_TEXT_BYTES];
    const char *head = probe_table_head;
    struct tm parts;

    if (probing->on_screen && table->readings > 1)
        fprintf(probing->out, "\033[%zuA\r", table->rows + 3 + (table->left_out > 0 ? 1 : 0));
    strftime(time_text, sizeof time_text, "%H:%M:%S", localtime_r(&now_s, &parts));
    snprintf(line, sizeof line, "Address %d, function %d, %s%s", probing->address, probing->function, time_text,
             !table->answered ? ": NO ANSWER, values are old"
             : probing->once  ? ""
                              : "   * changed now  + changed before  Ctrl-C ends");
    fprintf(probing->out, "%.*s", (int)table->width, line);
    command_end_line(probing);
    for (size_t length; *head != '\0'; head += length + 1) {
        length = strcspn(head, "\n");
        fprintf(probing->out, "%.*s", (int)(length < table->width ? length : table->width), head);
        command_end_line(probing);
    }
    for (size_t i = 0; i < table->rows; i++)
        command_print_cell(probing, table, i);
    if (table->left_out > 0) {
        fprintf(probing->out, "%zu more: --registers %u-%u", table->left_out,
                (unsigned)table->cells[table->rows].number, (unsigned)command_shown_map(probing)->end - 1);
        command_end_line(probing);
    }
    fflush(probing->out);
}

int command_watch(struct probing *probing, struct fault *fault) {
    struct table table = {.count = 0};
    int ended = 0;

    if (probing->function == 0)
        return 0;
    command_lay_table(probing, &table);
    while (ended == 0) {
        const int64_t began_us = clock_now_us(probing->line.clock);
        int64_t left_ms;

        ended = command_read_table(probing, &table, fault);
        if (ended != 0)
            break;
        command_print_table(probing, &table);
        if (probing->once)
            return 0;
        left_ms = REFRESH_MS - (clock_now_us(probing->line.clock) - began_us) / 1000;
        if (probe_listen(&probing->line, left_ms > 0 ? left_ms : 0) < 0)
            ended = 1;
    }
    return ended < 0 ? -1 : 0;
}

/* ---- what to paste ---- */

static void command_print_channel(const struct probing *probing) {
    const struct probe_map *map = command_shown_map(probing);

    fprintf(probing->out,
            "[oven hardening]\n"
            "\n"
            "; Register, encoding and decimals are to be set by what the table and the\n"
            "; controller's manual say; decimals = 1 where 8053 means 805.3, and\n"
            "; open_value = 32767 where that is sent for a broken thermocouple.\n"
            "[channel hardening.control]\n"
            "role = control\n"
            "instrument = controller-%d\n"
            "function = %d\n"
            "register = %u\n"
            "decimals = 1\n"
            "unit = C\n",
            probing->address, probing->function, (unsigned)map->ranges[0].first);
}

void command_print_sections(const struct probing *probing) {
    static const char *const parities[] = {[PARITY_NONE] = "none", [PARITY_EVEN] = "even", [PARITY_ODD] = "odd"};

    fprintf(probing->out,
            "\nFor soakledger.conf, with names of your own:\n\n[ledger]\npath = %s\n\n[line bench]\ndevice = %s\n",
            LEDGER_PATH, probing->device);
    if (probe_find_kind(probing->device) == LINE_PSEUDO_TERMINAL)
        fputs("kind = pseudo-terminal\n", probing->out);
    fprintf(probing->out, "speed = %d\nparity = %s\nstop_bits = %d\n\n", probing->setting.speed_baud,
            parities[probing->setting.parity], probing->setting.stop_bits);
    for (int address = 1; address <= PROBE_LAST_ADDRESS; address++)
        if (probing->search.found[address] != 0)
            fprintf(probing->out, "[instrument controller-%d]\nline = bench\naddress = %d\n\n", address, address);
    if (probing->function != 0)
        command_print_channel(probing);
}
