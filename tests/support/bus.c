// SPDX-License-Identifier: MIT
#include "bus.h"

#include <poll.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/modbus.h"

enum {
    LOOK_MS = 20,
    BROKEN_OFF_MS = 3,
    CHUNK_BYTES = 4,
    CHUNK_US = 16000,
    TURNAROUND_US = 1750,
    US_PER_MS = 1000,
    US_PER_S = 1000000,
    NS_PER_US = 1000,
    CHECK_BYTES = 2,
    EXCEPTION_BIT = 0x80,
    ILLEGAL_ADDRESS = 2,
    FRAME_ROOM = 2 * MODBUS_FRAME_BYTES,
};

struct frame {
    size_t length;
    uint8_t bytes[FRAME_ROOM];
};

uint16_t bus_register(uint8_t address, uint8_t function, unsigned index) {
    enum { PRIME_A = 2741, PRIME_B = 977, PRIME_C = 13 };

    return (uint16_t)((unsigned)address * PRIME_A + (unsigned)function * PRIME_B + index * PRIME_C + 1);
}

static void pause_us(int64_t us) {
    const struct timespec pause = {.tv_sec = us / US_PER_S, .tv_nsec = us % US_PER_S * NS_PER_US};

    if (us > 0)
        nanosleep(&pause, NULL);
}

static void add_byte(struct frame *frame, unsigned byte) {
    frame->bytes[frame->length++] = (uint8_t)byte;
}

static void add_check(struct frame *frame) {
    const uint16_t crc = modbus_crc(frame->bytes, frame->length);

    add_byte(frame, crc & 0xffu);
    add_byte(frame, (unsigned)crc >> 8);
}

static void add_registers(struct frame *frame, const uint8_t *request, unsigned count) {
    const unsigned first = (unsigned)request[2] << 8 | request[3];

    add_byte(frame, 2 * count);
    for (unsigned i = 0; i < count; i++) {
        const uint16_t value = bus_register(request[0], request[1], first + i);

        add_byte(frame, (unsigned)value >> 8);
        add_byte(frame, value & 0xffu);
    }
}

static void build_reply(struct frame *frame, const uint8_t *request, enum bus_manner manner) {
    const unsigned count = (unsigned)request[4] << 8 | request[5];

    frame->length = 0;
    add_byte(frame, manner == BUS_OTHER_ADDRESS ? request[0] + 1u : request[0]);
    if (manner == BUS_REFUSING) {
        add_byte(frame, request[1] | EXCEPTION_BIT);
        add_byte(frame, ILLEGAL_ADDRESS);
    } else {
        add_byte(frame, manner == BUS_OTHER_FUNCTION ? 7u - request[1] : request[1]);
        add_registers(frame, request, manner != BUS_OTHER_COUNT ? count : count > 1 ? count - 1 : count + 1);
    }
    add_check(frame);
}

static void insert(struct frame *frame, size_t at, const uint8_t *bytes, size_t length) {
    memmove(frame->bytes + at + length, frame->bytes + at, frame->length - at);
    memcpy(frame->bytes + at, bytes, length);
    frame->length += length;
}

/* What the wire does to a reply; `turn` chooses the place. */
static void spoil(struct frame *frame, const uint8_t *request, enum bus_manner manner, unsigned turn) {
    static const uint8_t garbage[] = {0x00, 0xff, 0x01};
    const size_t at = turn % frame->length;
    uint8_t again = frame->bytes[at];

    if (manner == BUS_GARBAGE_BEFORE)
        insert(frame, 0, garbage, 1 + turn % sizeof garbage);
    else if (manner == BUS_GARBAGE_AFTER)
        insert(frame, frame->length, garbage, 1 + turn % sizeof garbage);
    else if (manner == BUS_FLIPPED)
        frame->bytes[at] ^= (uint8_t)(1u << turn % 8);
    else if (manner == BUS_DROPPED)
        memmove(frame->bytes + at, frame->bytes + at + 1, --frame->length - at);
    else if (manner == BUS_DOUBLED)
        insert(frame, at, &again, 1);
    else if (manner == BUS_CUT)
        frame->length /= 2;
    else if (manner == BUS_ECHOING)
        insert(frame, 0, request, MODBUS_REQUEST_BYTES);
    else if (manner == BUS_ECHO_ONLY)
        memcpy(frame->bytes, request, frame->length = MODBUS_REQUEST_BYTES);
}

static int64_t real_us(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * US_PER_S + now.tv_nsec / NS_PER_US;
}

static void put(const struct bus *bus, const uint8_t *bytes, size_t length) {
    if (write(bus->pair.near, bytes, length) < 0)
        return; // nobody there: as on a real wire
}

static void send_reply(const struct bus *bus, const struct frame *frame, enum bus_manner manner) {
    if (manner != BUS_CHUNKED) {
        put(bus, frame->bytes, frame->length);
        return;
    }
    for (size_t at = 0; at < frame->length; at += CHUNK_BYTES) {
        pause_us(at > 0 ? CHUNK_US : 0);
        put(bus, frame->bytes + at, frame->length - at < CHUNK_BYTES ? frame->length - at : CHUNK_BYTES);
    }
}

static bool is_beyond(struct bus_instrument *instrument, const uint8_t *request) {
    const int first = request[2] << 8 | request[3], count = request[4] << 8 | request[5];
    const int longest = atomic_load(&instrument->longest), hole = atomic_load(&instrument->hole);

    return (longest > 0 && count > longest) || (hole > 0 && first <= hole && hole < first + count);
}

static void answer(const struct bus *bus, struct bus_instrument *instrument, const uint8_t *request) {
    const int asked = atomic_fetch_add(&instrument->asked, 1);
    const int every = atomic_load(&instrument->every);
    const bool odd_one = every > 0 && asked % every == every - 1;
    enum bus_manner manner = odd_one ? (enum bus_manner)atomic_load(&instrument->manner) : BUS_WELL;
    struct frame frame;

    if (is_beyond(instrument, request))
        manner = atomic_load(&instrument->mute) ? BUS_SILENT : BUS_REFUSING;
    if (manner == BUS_SILENT)
        return;
    if (odd_one)
        pause_us((int64_t)atomic_load(&instrument->delay_ms) * US_PER_MS);
    build_reply(&frame, request, manner);
    spoil(&frame, request, manner, (unsigned)asked);
    if (bus->wire_character_us > 0) {
        // The request is on the wire, then silence, then the reply.
        const int64_t characters = MODBUS_REQUEST_BYTES + (int64_t)frame.length;

        pause_us(characters * bus->wire_character_us + TURNAROUND_US);
    }
    send_reply(bus, &frame, manner);
}

static void serve_request(struct bus *bus, const uint8_t *request) {
    const uint16_t crc = modbus_crc(request, MODBUS_REQUEST_BYTES - CHECK_BYTES);

    if (request[MODBUS_REQUEST_BYTES - CHECK_BYTES] != (crc & 0xff) ||
        request[MODBUS_REQUEST_BYTES - 1] != crc >> 8)
        return;
    for (size_t i = 0; i < bus->count; i++) {
        if (bus->instruments[i].address == request[0])
            answer(bus, &bus->instruments[i], request);
    }
}

static void *serve(void *argument) {
    struct bus *bus = argument;
    uint8_t request[MODBUS_REQUEST_BYTES];
    size_t length = 0;
    int64_t replied_us = 0;

    while (!atomic_load(&bus->stop)) {
        struct pollfd look = {.fd = bus->pair.near, .events = POLLIN};
        ssize_t count = 0;

        if (poll(&look, 1, length > 0 ? BROKEN_OFF_MS : LOOK_MS) == 0)
            length = 0;
        if (look.revents & POLLIN)
            count = read(bus->pair.near, request + length, sizeof request - length);
        else if (look.revents & POLLHUP)
            pause_us(US_PER_MS); // until the far end is opened
        if (count <= 0)
            continue;
        capture_add(bus->capture, request + length, (size_t)count);
        if (length == 0 && replied_us > 0 && real_us() - replied_us < atomic_load(&bus->least_gap_us))
            atomic_store(&bus->least_gap_us, real_us() - replied_us);
        length += (size_t)count;
        if (length < sizeof request)
            continue;
        length = 0;
        replied_us = real_us(); // before the reply is written: the poller may be faster than this thread
        serve_request(bus, request);
    }
    return NULL;
}

void bus_open(struct bus *bus, size_t count, int64_t wire_character_us, struct capture *capture) {
    memset(bus, 0, sizeof *bus);
    pty_pair_open(&bus->pair);
    bus->count = count;
    atomic_store(&bus->least_gap_us, US_PER_S);
    bus->capture = capture;
    bus->wire_character_us = wire_character_us;
    for (size_t i = 0; i < count; i++) {
        bus->instruments[i].address = (uint8_t)(i + 1);
        atomic_store(&bus->instruments[i].every, 1);
    }
    pthread_create(&bus->thread, NULL, serve, bus);
}

void bus_close(struct bus *bus) {
    atomic_store(&bus->stop, true);
    pthread_join(bus->thread, NULL);
    pty_pair_close(&bus->pair);
}
