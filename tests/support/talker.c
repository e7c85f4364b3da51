// SPDX-License-Identifier: MIT
#include "talker.h"

#include <poll.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "bus.h"

enum { LOOK_MS = 20, US_PER_MS = 1000, NS_PER_US = 1000, MS_PER_S = 1000, HEX = 16 };

static void say(struct talker *talker, const char *asked) {
    char out[TALKER_LINE_BYTES];
    const int spoken = atomic_fetch_add(&talker->spoken, 1), every = atomic_load(&talker->every);
    const size_t length = talker->speak(talker, asked, out);

    if (every == 0 || spoken % every == every - 1)
        usleep((useconds_t)(atomic_load(&talker->delay_ms) * US_PER_MS));
    if (length > 0 && write(talker->descriptor, out, length) < 0)
        return; // nobody there: as on a real wire
}

static void listen_once(struct talker *talker, char *line, size_t *used) {
    struct pollfd look = {.fd = talker->descriptor, .events = POLLIN};
    char byte;

    poll(&look, 1, LOOK_MS);
    if (look.revents & POLLHUP)
        usleep(US_PER_MS);
    while (look.revents & POLLIN && read(talker->descriptor, &byte, 1) == 1) {
        if (talker->capture != NULL)
            capture_add(talker->capture, (const uint8_t *)&byte, 1);
        if (*used < TALKER_LINE_BYTES - 1)
            line[(*used)++] = byte;
        if (byte != talker->ends_with)
            continue;
        line[*used] = '\0';
        *used = 0;
        say(talker, line);
    }
}

static void *run(void *argument) {
    struct talker *talker = argument;
    char line[TALKER_LINE_BYTES];
    size_t used = 0;

    while (!atomic_load(&talker->stop)) {
        const int every_ms = atomic_load(&talker->every_ms);

        if (every_ms == 0) {
            listen_once(talker, line, &used);
            continue;
        }
        usleep((useconds_t)(every_ms * US_PER_MS));
        say(talker, "");
    }
    return NULL;
}

void talker_start(struct talker *talker) {
    pthread_create(&talker->thread, NULL, run, talker);
}

void talker_stop(struct talker *talker) {
    atomic_store(&talker->stop, true);
    pthread_join(talker->thread, NULL);
}

static unsigned read_hex(const char *digits) {
    const char pair[] = {digits[0], digits[1], '\0'};

    return (unsigned)strtoul(pair, NULL, HEX);
}

/* Written from the guide alone, and sharing nothing with what asks. */
size_t talker_speak_ascii(struct talker *talker, const char *asked, char out[TALKER_LINE_BYTES]) {
    const char *colon = strrchr(asked, ':');
    unsigned bytes[7], sum = 0, first, count;
    size_t used = 0;

    (void)talker;
    if (colon == NULL || strlen(colon) != sizeof ":AAFFRRRRCCCCLL\r\n" - 1 ||
        strspn(colon + 1, "0123456789ABCDEF") != 14)
        return 0;
    for (size_t i = 0; i < 7; i++)
        sum += bytes[i] = read_hex(colon + 1 + 2 * i);
    first = bytes[2] << 8 | bytes[3];
    count = bytes[4] << 8 | bytes[5];
    if ((sum & 0xff) != 0 || count < 1 || count > 125 || (bytes[1] != 3 && bytes[1] != 4))
        return 0;
    used += (size_t)sprintf(out, ":%02X%02X%02X", bytes[0], bytes[1], 2 * count);
    sum = bytes[0] + bytes[1] + 2 * count;
    for (unsigned i = 0; i < count; i++) {
        const unsigned value = bus_register((uint8_t)bytes[0], (uint8_t)bytes[1], first + i);

        sum += (value >> 8) + (value & 0xff);
        used += (size_t)sprintf(out + used, "%04X", value);
    }
    return used + (size_t)sprintf(out + used, "%02X\r\n", (0x100 - (sum & 0xff)) & 0xff);
}
