// SPDX-License-Identifier: MIT
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "command_probe.h"

enum {
    LISTEN_MS = 1500, // panels and other programs mostly ask at least once a second (common practice, no source)
    LATE_REPLY_MS = 2000,
    DEFAULT_REPLY_MS = 300, // as in soakledger.conf(5)
    REPLY_LEAST_MS = 10,
    REPLY_MOST_MS = 10000,
    REOPEN_MS = 60, // with the silence that follows
    AROUND_REQUEST_MS = 10,
    MS_PER_S = 1000,
    DEFAULT_REGISTERS = 128,
    LAST_REGISTER = UINT16_MAX,
    RETRIED_TRIES = 4, // so few questions are worth being asked twice
};

static const char USAGE[] = "probe PORT [--address N] [--speed N] [--parity none|even|odd] [--stop-bits N] [--all] "
                            "[--reply-within TIME] [--registers A-B] [--function 3|4] [--once]";

/* ---- what the user wants ---- */

struct probe_words {
    const char *port, *address, *speed, *parity, *stop_bits, *reply_within, *registers, *function;
    bool all, once;
};

/* Takes a word without a value out of `argv`. */
static bool command_take_flag(int *argc, char **argv, const char *name) {
    bool found = false;
    int kept = 0;

    for (int i = 0; i < *argc; i++) {
        if (strcmp(argv[i], name) == 0)
            found = true;
        else
            argv[kept++] = argv[i];
    }
    *argc = kept;
    return found;
}

static int command_read_words(int argc, char **argv, struct probe_words *words, struct fault *fault) {
    const struct command_option options[] = {
        {"--address", &words->address},     {"--speed", &words->speed},
        {"--parity", &words->parity},       {"--stop-bits", &words->stop_bits},
        {"--registers", &words->registers}, {"--reply-within", &words->reply_within},
        {"--function", &words->function},
    };

    words->all = command_take_flag(&argc, argv, "--all");
    words->once = command_take_flag(&argc, argv, "--once");
    return command_take(argc, argv, options, sizeof options / sizeof options[0], &words->port, 1, 1, USAGE, fault);
}

static int command_take_within(const char *name, const char *text, int64_t least, int64_t most, int *value,
                               struct fault *fault) {
    int64_t number = 0;

    if (text == NULL)
        return 0;
    if (quantity_parse_integer(text, least, most, &number, fault) != 0)
        return fault_set(fault, EX_USAGE, "%s '%.40s': expected a whole number from %lld to %lld", name, text,
                         (long long)least, (long long)most);
    *value = (int)number;
    return 0;
}

static int command_take_speed(const char *text, int *speed, struct fault *fault) {
    // Those that soakledger.conf(5) allows.
    static const int speeds[] = {1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 115200, 230400, 460800};
    struct fault ignored;
    int64_t number = 0;

    if (text == NULL)
        return 0;
    for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; i++)
        if (quantity_parse_integer(text, speeds[i], speeds[i], &number, &ignored) == 0)
            *speed = speeds[i];
    return *speed != 0 ? 0
                       : fault_set(fault, EX_USAGE,
                                   "--speed '%.40s': expected 1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, "
                                   "57600, 115200, 230400 or 460800",
                                   text);
}

static int command_take_parity(const char *text, struct probe_wish *wish, struct fault *fault) {
    static const char *const names[] = {[PARITY_NONE] = "none", [PARITY_EVEN] = "even", [PARITY_ODD] = "odd"};

    for (size_t i = 0; text != NULL && i < sizeof names / sizeof names[0]; i++) {
        if (strcmp(text, names[i]) != 0)
            continue;
        wish->parity = (enum parity)i;
        wish->parity_known = true;
        return 0;
    }
    return text == NULL ? 0 : fault_set(fault, EX_USAGE, "--parity '%.40s': expected none, even or odd", text);
}

/* "5" or "0-31". */
static int command_take_registers(const char *text, struct probing *probing, struct fault *fault) {
    char first[QUANTITY_TEXT_BYTES];
    const char *dash = text != NULL ? strchr(text, '-') : NULL;
    int64_t low = 0, high = DEFAULT_REGISTERS - 1;

    if (text != NULL) {
        snprintf(first, sizeof first, "%.*s", dash != NULL ? (int)(dash - text) : (int)strlen(text), text);
        if (quantity_parse_integer(first, 0, LAST_REGISTER, &low, fault) != 0 ||
            quantity_parse_integer(dash != NULL ? dash + 1 : first, low, LAST_REGISTER, &high, fault) != 0)
            return fault_set(
                fault, EX_USAGE,
                "--registers '%.40s': expected two numbers, the lower first, such as 0-31, from 0 to %d", text,
                LAST_REGISTER);
    }
    probing->first = (uint32_t)low;
    probing->count = (uint32_t)(high - low + 1);
    return 0;
}

static int command_take_reply(const char *text, int64_t *reply_ms, struct fault *fault) {
    *reply_ms = DEFAULT_REPLY_MS;
    if (text == NULL)
        return 0;
    if (quantity_parse_duration(text, reply_ms, fault) != 0 || *reply_ms < REPLY_LEAST_MS ||
        *reply_ms > REPLY_MOST_MS)
        return fault_set(fault, EX_USAGE,
                         "--reply-within '%.40s': expected a time such as 300 ms, from 10 ms to 10 s", text);
    return 0;
}

static int command_take_wishes(const struct probe_words *words, struct probing *probing, struct probe_wish *wish,
                               struct fault *fault) {
    enum { FEWEST_STOP_BITS = 1, MOST_STOP_BITS = 2 };

    if (words->port[0] != '/')
        return fault_set(fault, EX_USAGE,
                         "'%.80s' is no port: expected one such as /dev/ttyUSB0; 'ports' lists them", words->port);
    if (command_take_within("--address", words->address, 1, PROBE_LAST_ADDRESS, &wish->address, fault) != 0 ||
        command_take_within("--stop-bits", words->stop_bits, FEWEST_STOP_BITS, MOST_STOP_BITS, &wish->stop_bits,
                            fault) != 0 ||
        command_take_within("--function", words->function, MODBUS_READ_HOLDING, MODBUS_READ_INPUT, &wish->function,
                            fault) != 0 ||
        command_take_speed(words->speed, &wish->speed_baud, fault) != 0 ||
        command_take_parity(words->parity, wish, fault) != 0 ||
        command_take_registers(words->registers, probing, fault) != 0 ||
        command_take_reply(words->reply_within, &probing->line.reply_within_ms, fault) != 0)
        return -1;
    wish->all_addresses = words->all;
    wish->one_setting = probe_find_kind(words->port) == LINE_PSEUDO_TERMINAL;
    probing->device = words->port;
    probing->once = words->once;
    probing->wanted_function = wish->function;
    return 0;
}

/* ---- the search ---- */

void command_show_progress(const struct probing *probing, const char *text) {
    if (!probing->on_screen)
        return;
    fprintf(probing->out, "\r%.*s\033[K%s", COMMAND_LINE_COLUMNS - 1, text, text[0] == '\0' ? "\r" : "");
    fflush(probing->out);
}

int command_lost_or_stopped(const struct probing *probing, enum probe_answer answer, struct fault *fault) {
    if (answer == PROBE_LOST)
        return fault_set(fault, EX_IOERR, "%s is gone: unplugged?", probing->device);
    return answer == PROBE_STOPPED ? 1 : 0;
}

/* In whole seconds, and with what comes before it. */
static int64_t command_time_left_ms(const struct probing *probing, int64_t before_ms) {
    const int64_t tries = (int64_t)probe_count_tries(&probing->search);
    const int64_t addresses = probing->search.last_address - probing->search.first_address + 1;
    const int64_t left_ms =
        before_ms + tries * (probing->line.reply_within_ms + AROUND_REQUEST_MS) + (tries / addresses) * REOPEN_MS;

    return (left_ms / MS_PER_S + 1) * MS_PER_S;
}

static void command_show_try(const struct probing *probing, const struct probe_try *try) {
    char name[PROBE_TEXT_BYTES], time[QUANTITY_TEXT_BYTES], text[2 * PROBE_TEXT_BYTES];

    snprintf(text, sizeof text, "%s, address %d, function %d; at most %s more",
             probe_name_setting(&try->setting, name), try->address, try->function,
             quantity_format_duration(command_time_left_ms(probing, 0), time));
    command_show_progress(probing, text);
}

static bool command_is_answer(enum probe_answer answer) {
    return answer == PROBE_GIVEN || answer == PROBE_REFUSED;
}

/* A reply of another address came: of a controller that is slower than it was given time for. It is asked itself.
 */
static enum probe_answer command_ask_late(struct probing *probing, const struct probe_try *try, int address) {
    const int64_t reply_ms = probing->line.reply_within_ms;
    struct probe_reply reply;
    enum probe_answer answer;

    if (address < 1 || address > PROBE_LAST_ADDRESS)
        return PROBE_SILENT;
    probing->line.reply_within_ms = LATE_REPLY_MS;
    answer = probe_ask(&probing->line, address, try->function, (uint16_t)probing->first, 1, &reply);
    probing->line.reply_within_ms = reply_ms;
    if (command_is_answer(answer) && probing->search.found[address] == 0) {
        command_show_progress(probing, "");
        fprintf(probing->out, "Address %d answers late: give it more than %lld ms with reply_within.\n", address,
                (long long)reply_ms);
        probe_note_answer(&probing->search, address);
    }
    return answer;
}

/* Asks as often as it takes to know. 1: the user has had enough. `garbled` is set where something came that is no
 * reply. */
static int command_try(struct probing *probing, const struct probe_try *try, int asks, bool *garbled,
                       struct fault *fault) {
    enum probe_answer answer = PROBE_SILENT;
    struct probe_reply reply;

    for (int i = 0; i < asks; i++) {
        int ended;

        answer = probe_ask(&probing->line, try->address, try->function, (uint16_t)probing->first, 1, &reply);
        ended = command_lost_or_stopped(probing, answer, fault);
        if (ended != 0)
            return ended;
        if (command_is_answer(answer))
            break;
        if (answer == PROBE_OTHER && command_ask_late(probing, try, reply.address) == PROBE_STOPPED)
            return 1;
        *garbled = *garbled || answer == PROBE_GARBLED;
        if (answer != PROBE_SILENT && i == 0) // what disturbed it may be over
            asks++;
    }
    if (command_is_answer(answer))
        probe_note_answer(&probing->search, try->address);
    else
        probe_note_silence(&probing->search);
    return 0;
}

/* Whoever asks on the line besides us would be disturbed, and so would we. */
static int command_listen(struct probing *probing, struct fault *fault) {
    int64_t heard;

    command_show_progress(probing, "Listening whether somebody else asks on this line");
    heard = probe_listen(&probing->line, LISTEN_MS);
    command_show_progress(probing, "");
    if (heard > 0)
        return fault_set(
            fault, EX_UNAVAILABLE,
            "%s: %lld bytes came before anything was asked: a panel or another program asks on this line; "
            "take it off the line, then probe",
            probing->device, (long long)heard);
    return heard < 0 ? 1 : 0;
}

static void command_print_plan_of_search(const struct probing *probing) {
    char time[QUANTITY_TEXT_BYTES], line[2 * COMMAND_TEXT_BYTES];
    const struct probe_search *search = &probing->search;
    char addresses[PROBE_TEXT_BYTES];

    if (search->first_address == search->last_address)
        snprintf(addresses, sizeof addresses, "address %d", search->first_address);
    else
        snprintf(addresses, sizeof addresses, "addresses %d to %d", search->first_address, search->last_address);
    snprintf(
        line, sizeof line,
        "Asking on %.200s, reading only: %zu %s of speed and parity, %s. This takes at most %s; Ctrl-C ends it.",
        probing->device, search->setting_count, search->setting_count == 1 ? "setting" : "settings", addresses,
        quantity_format_duration(command_time_left_ms(probing, LISTEN_MS), time));
    command_print(probing->out, 2, line);
    fflush(probing->out);
}

/* Opens the line with the setting of the next try; tells what came of the one before. */
static int command_change_setting(struct probing *probing, const struct probe_try *try, bool first,
                                  struct fault *fault) {
    char name[PROBE_TEXT_BYTES];

    if (!first && memcmp(&try->setting, &probing->setting, sizeof try->setting) == 0)
        return 0;
    if (!first && !probing->on_screen) {
        fprintf(probing->out, "%s: no answer\n", probe_name_setting(&probing->setting, name));
        fflush(probing->out);
    }
    probing->setting = try->setting;
    if (probe_open_line(&probing->line, probing->device, &try->setting, fault) != 0)
        return -1;
    if (!first)
        return 0;
    command_print_plan_of_search(probing);
    return command_listen(probing, fault);
}

static int command_find_none(const struct probing *probing, const struct probe_setting *garbled,
                             struct fault *fault) {
    char name[PROBE_TEXT_BYTES], heard[2 * PROBE_TEXT_BYTES] = "";

    if (garbled->speed_baud != 0)
        snprintf(heard, sizeof heard, "something that is no reply came at %s: two with one address? noise? ",
                 probe_name_setting(garbled, name));
    return fault_set(fault, EX_NOHOST,
                     "no controller answered on %s: %sis it powered, its Modbus switched on, A and B the right way "
                     "round, its address from %d to %d%s?",
                     probing->device, heard, probing->search.first_address, probing->search.last_address,
                     probing->search.last_address == PROBE_FIRST_ADDRESSES ? " (--all looks at every one)" : "");
}

static int command_search(struct probing *probing, struct fault *fault) {
    const int asks = probe_count_tries(&probing->search) <= RETRIED_TRIES ? 2 : 1;
    struct probe_setting garbled_at = {.speed_baud = 0};
    struct probe_try try;
    int ended = 0;

    for (bool first = true; ended == 0 && probe_next_try(&probing->search, &try); first = false) {
        bool garbled = false;

        ended = command_change_setting(probing, &try, first, fault);
        if (ended != 0)
            break;
        command_show_try(probing, &try);
        ended = command_try(probing, &try, asks, &garbled, fault);
        if (garbled && garbled_at.speed_baud == 0)
            garbled_at = try.setting;
    }
    command_show_progress(probing, "");
    if (ended == 0 && !probing->search.found_any)
        return command_find_none(probing, &garbled_at, fault);
    return ended;
}

static void command_print_found(struct probing *probing) {
    char name[PROBE_TEXT_BYTES];
    int count = 0;

    for (int address = 1; address <= PROBE_LAST_ADDRESS; address++) {
        if (probing->search.found[address] == 0)
            continue;
        if (count++ == 0)
            probing->address = address;
        fprintf(probing->out, "Found a controller: address %d, %s.\n", address,
                probe_name_setting(&probing->setting, name));
    }
    if (probing->search.last_address == PROBE_FIRST_ADDRESSES && probing->search.first_address == 1)
        fprintf(probing->out, "Addresses from %d on were not looked at: --all.\n", PROBE_FIRST_ADDRESSES + 1);
    if (count > 1)
        fprintf(probing->out, "Registers are those of address %d; of another one: --address N.\n",
                probing->address);
    fflush(probing->out);
}

/* ---- all of it ---- */

static int command_open_stop(struct fault *fault) {
    sigset_t signals;
    int descriptor = -1;

    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    if (sigprocmask(SIG_BLOCK, &signals, NULL) == 0)
        descriptor = signalfd(-1, &signals, SFD_NONBLOCK | SFD_CLOEXEC);
    return descriptor >= 0 ? descriptor : fault_set_errno(fault, EX_OSERR, "cannot wait for signals");
}

static void command_find_screen(struct probing *probing) {
    const char *terminal = getenv("TERM"), *no_color = getenv("NO_COLOR");

    probing->on_screen =
        isatty(fileno(probing->out)) && terminal != NULL && terminal[0] != '\0' && strcmp(terminal, "dumb") != 0;
    probing->bold = probing->on_screen && (no_color == NULL || no_color[0] == '\0');
}

static int command_probe_all(struct probing *probing, struct fault *fault) {
    int ended;

    ended = command_search(probing, fault);
    if (ended > 0)
        return fault_set(fault, EX_TEMPFAIL, "stopped before the search was over");
    if (ended < 0)
        return -1;
    command_print_found(probing);
    ended = command_map(probing, fault);
    if (ended == 0)
        ended = command_watch(probing, fault);
    if (ended < 0)
        return -1;
    command_print_sections(probing);
    return 0;
}

int command_probe(struct command *command, int argc, char **argv, struct fault *fault) {
    struct probe_words words = {.port = NULL};
    struct probe_wish wish = {.speed_baud = 0};
    struct probing *probing = calloc(1, sizeof *probing);
    int result = -1;

    if (probing == NULL)
        return fault_set(fault, EX_OSERR, "no memory to probe with");
    probing->out = command->out;
    probing->line.stop = -1;
    if (command_read_words(argc, argv, &words, fault) >= 0 &&
        command_take_wishes(&words, probing, &wish, fault) == 0) {
        command_find_screen(probing);
        probe_begin_search(&probing->search, &wish);
        probing->line.clock = clock_open_real(fault);
        probing->line.stop = probing->line.clock != NULL ? command_open_stop(fault) : -1;
        if (probing->line.stop >= 0)
            result = command_probe_all(probing, fault);
    }
    probe_close_line(&probing->line);
    clock_close(probing->line.clock);
    if (probing->line.stop >= 0)
        close(probing->line.stop);
    free(probing);
    return result;
}
