// SPDX-License-Identifier: MIT
/* One exchange after the other on one line, with nobody waiting for anything else meanwhile. What may come instead
 * of a reply is told in poller_line.c; here it is named rather than tried again. */
#include <errno.h>
#include <limits.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "soakledger/probe.h"

enum {
    US_PER_MS = 1000,
    READ_BYTES = 512,
    // Adapters hand bytes over in chunks, up to 16 ms apart unless they are told otherwise (common practice, no
    // source); as much again for a busy machine.
    CHUNK_US = 40000,
    COMMAND_NAME_BYTES = 32,
};

enum line_kind probe_find_kind(const char *device) {
    static const char pseudo_terminals[] = "/dev/pts/";
    char path[PATH_MAX];

    return realpath(device, path) != NULL && strncmp(path, pseudo_terminals, sizeof pseudo_terminals - 1) == 0
               ? LINE_PSEUDO_TERMINAL
               : LINE_SERIAL;
}

/* A row of the kernel's list: number, kind, mode, access, process, then major:minor:inode, the first two in
 * hexadecimal. */
static bool is_lock_on(char *row, const struct stat *status, int *process) {
    enum { KIND = 1, PROCESS = 4, DEVICE = 5, FIELDS = 6, HEXADECIMAL = 16, DECIMAL = 10 };
    char *fields[FIELDS] = {NULL}, *rest = row, *end;
    unsigned long major_number, minor_number;

    for (int i = 0; i < FIELDS; i++) {
        fields[i] = strtok_r(i == 0 ? row : NULL, " ", &rest);
        if (fields[i] == NULL)
            return false;
    }
    major_number = strtoul(fields[DEVICE], &end, HEXADECIMAL);
    if (strcmp(fields[KIND], "FLOCK") != 0 || *end != ':')
        return false;
    minor_number = strtoul(end + 1, &end, HEXADECIMAL);
    *process = (int)strtol(fields[PROCESS], NULL, DECIMAL);
    return *end == ':' && strtoull(end + 1, NULL, DECIMAL) == status->st_ino &&
           makedev((unsigned)major_number, (unsigned)minor_number) == status->st_dev;
}

/* Who has locked the device, from the kernel's list of locks (proc_locks(5)); 0 if that cannot be seen. */
static int find_holder(const char *device) {
    FILE *locks = fopen("/proc/locks", "re");
    char row[PROBE_TEXT_BYTES];
    struct stat status;
    int holder = 0, process = 0;

    if (locks == NULL)
        return 0;
    while (holder == 0 && stat(device, &status) == 0 && fgets(row, sizeof row, locks) != NULL) {
        if (is_lock_on(row, &status, &process))
            holder = process;
    }
    fclose(locks);
    return holder;
}

static int explain_busy(const char *device, struct fault *fault) {
    const int holder = find_holder(device);
    char path[PROBE_TEXT_BYTES], name[COMMAND_NAME_BYTES] = "";
    FILE *file;

    snprintf(path, sizeof path, "/proc/%d/comm", holder);
    file = holder > 0 ? fopen(path, "re") : NULL;
    if (file != NULL) {
        if (fgets(name, sizeof name, file) != NULL)
            name[strcspn(name, "\n")] = '\0';
        fclose(file);
    }
    if (name[0] != '\0')
        return fault_set(fault, EX_UNAVAILABLE, "%s is in use by %s (process %d): stop that first, then probe",
                         device, name, holder);
    return fault_set(fault, EX_UNAVAILABLE,
                     "%s is in use by another program, the recorder perhaps: stop that first, then probe", device);
}

int probe_open_line(struct probe_line *probe, const char *device, const struct probe_setting *setting,
                    struct fault *fault) {
    const struct config_line config = {.name = "probed",
                                       .device = device,
                                       .kind = probe_find_kind(device),
                                       .speed_baud = setting->speed_baud,
                                       .parity = setting->parity,
                                       .stop_bits = setting->stop_bits};

    probe_close_line(probe);
    if (access(device, R_OK | W_OK) != 0 && errno == EACCES)
        return fault_set(
            fault, EX_NOPERM,
            "%s may not be used by you: its group, mostly dialout, may ('adduser YOU dialout', then log "
            "in anew)",
            device);
    probe->line = line_open(&config, fault);
    if (probe->line == NULL)
        return fault->status == EX_UNAVAILABLE ? explain_busy(device, fault) : -1;
    probe->speed_baud = setting->speed_baud;
    probe->ready_us = clock_now_us(probe->clock) + CHUNK_US;
    return 0;
}

void probe_close_line(struct probe_line *probe) {
    line_close(probe->line);
    probe->line = NULL;
}

enum happening { CAME_BYTES, CAME_TIME, CAME_STOP };

static enum happening wait_until(struct probe_line *probe, int64_t deadline_us, bool answer_due) {
    struct pollfd waiting[] = {{.fd = line_descriptor(probe->line), .events = POLLIN},
                               {.fd = probe->stop, .events = POLLIN}};
    const size_t count = sizeof waiting / sizeof waiting[0];

    while (clock_now_us(probe->clock) < deadline_us) {
        if (clock_wait(probe->clock, waiting, count, deadline_us, answer_due) <= 0)
            continue;
        if (waiting[1].revents != 0)
            return CAME_STOP;
        if (waiting[0].revents != 0)
            return CAME_BYTES;
    }
    return CAME_TIME;
}

int64_t probe_listen(struct probe_line *probe, int64_t for_ms) {
    const int64_t until_us = clock_now_us(probe->clock) + for_ms * US_PER_MS;
    uint8_t bytes[READ_BYTES];
    int64_t heard = 0;

    for (;;) {
        const enum happening happening = wait_until(probe, until_us, false);
        const ssize_t length = happening == CAME_BYTES ? line_read(probe->line, bytes, sizeof bytes) : 0;

        if (happening == CAME_STOP || length < 0)
            return -1;
        if (happening == CAME_TIME)
            return heard;
        heard += length;
    }
}

/* Waits for the line to be silent, throwing away what comes. */
static bool make_ready(struct probe_line *probe, enum probe_answer *why_not) {
    uint8_t bytes[READ_BYTES];
    // A line that never falls silent is asked all the same: what comes back will be garbled, and said to be.
    const int64_t patience_us = probe->ready_us + probe->reply_within_ms * US_PER_MS;

    for (;;) {
        const enum happening happening = wait_until(probe, probe->ready_us, false);

        if (happening == CAME_TIME)
            break;
        *why_not = happening == CAME_STOP ? PROBE_STOPPED : PROBE_LOST;
        if (happening == CAME_STOP || line_read(probe->line, bytes, sizeof bytes) < 0)
            return false;
        probe->ready_us = clock_now_us(probe->clock) + CHUNK_US;
        if (probe->ready_us > patience_us)
            break;
    }
    line_discard(probe->line);
    return true;
}

/* An adapter that hears itself gives the request back first; what follows is the reply. */
static enum modbus_status skip_echo(struct modbus_reply *reply, int64_t now_us) {
    uint8_t rest[MODBUS_FRAME_BYTES];
    const size_t length = reply->length - MODBUS_REQUEST_BYTES;

    memcpy(rest, reply->bytes + MODBUS_REQUEST_BYTES, length);
    modbus_expect(reply, reply->address, reply->function, reply->count);
    return length > 0 ? modbus_take(reply, rest, length, now_us) : MODBUS_MORE;
}

struct exchange {
    struct modbus_reply reply;
    int64_t answer_by_us;
    bool echoed;
};

/* Waits for the next that happens on the line. MODBUS_MORE if the exchange goes on; `*ended` tells why it cannot.
 */
static enum modbus_status go_on(struct probe_line *probe, struct exchange *exchange, enum probe_answer *ended) {
    const bool begun = exchange->reply.length > 0;
    const int64_t silence_us = modbus_t35_us(probe->speed_baud) + CHUNK_US;
    const enum happening happening =
        wait_until(probe, begun ? exchange->reply.last_byte_us + silence_us + 1 : exchange->answer_by_us, true);
    const int64_t now_us = clock_now_us(probe->clock);
    enum modbus_status status = MODBUS_MORE;
    uint8_t bytes[READ_BYTES];
    ssize_t length = 0;

    if (happening == CAME_BYTES)
        length = line_read(probe->line, bytes, sizeof bytes);
    if (happening == CAME_STOP)
        *ended = PROBE_STOPPED;
    else if (length < 0)
        *ended = PROBE_LOST;
    else if (happening == CAME_TIME && !begun)
        *ended = PROBE_SILENT;
    if (length > 0)
        status = modbus_take(&exchange->reply, bytes, (size_t)length, now_us);
    else if (happening == CAME_TIME && begun)
        status = modbus_silence(&exchange->reply, silence_us, now_us);
    if (status == MODBUS_ECHO && !exchange->echoed) {
        exchange->echoed = true;
        status = skip_echo(&exchange->reply, now_us);
    }
    return status;
}

static enum probe_answer name_answer(const struct modbus_reply *frame, enum modbus_status status,
                                     struct probe_reply *reply) {
    switch (status) {
    case MODBUS_DONE: modbus_copy_registers(frame, reply->registers); return PROBE_GIVEN;
    case MODBUS_EXCEPTION: reply->exception = modbus_exception_code(frame); return PROBE_REFUSED;
    case MODBUS_WRONG_ADDRESS: reply->address = frame->bytes[0]; return PROBE_OTHER;
    default: return PROBE_GARBLED;
    }
}

enum probe_answer probe_ask(struct probe_line *probe, int address, uint8_t function, uint16_t first, uint16_t count,
                            struct probe_reply *reply) {
    uint8_t request[MODBUS_REQUEST_BYTES];
    struct exchange exchange = {.echoed = false};
    enum modbus_status status = MODBUS_MORE;
    enum probe_answer ended = PROBE_GIVEN;

    if (!make_ready(probe, &ended))
        return ended;
    modbus_build_read((uint8_t)address, function, first, count, request);
    modbus_expect(&exchange.reply, (uint8_t)address, function, count);
    if (line_write(probe->line, request, sizeof request) < 0)
        return PROBE_LOST;
    exchange.answer_by_us = clock_now_us(probe->clock) + probe->reply_within_ms * US_PER_MS +
                            MODBUS_REQUEST_BYTES * modbus_character_us(probe->speed_baud);
    while (status == MODBUS_MORE && ended == PROBE_GIVEN)
        status = go_on(probe, &exchange, &ended);
    if (ended == PROBE_GIVEN)
        ended = name_answer(&exchange.reply, status, reply);
    // After something that was no reply more of it may come.
    probe->ready_us = clock_now_us(probe->clock) + modbus_t35_us(probe->speed_baud) +
                      (ended == PROBE_GARBLED || ended == PROBE_OTHER ? CHUNK_US : 0);
    return ended;
}
