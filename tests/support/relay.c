// SPDX-License-Identifier: MIT
#include "relay.h"

#include <poll.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { LOOK_MS = 20, NAP_NS = 1000000, READ_BYTES = 256, KINDS_OF_NOISE = 4 };

/* Lehmer's generator with the multiplier of Park and Miller (from memory): the same noise every time. */
static uint32_t draw(struct relay *relay) {
    enum { MULTIPLIER = 48271, MODULUS = INT32_MAX };

    relay->seed = (uint32_t)((uint64_t)relay->seed * MULTIPLIER % MODULUS);
    return relay->seed;
}

static size_t add_noise(struct relay *relay, const uint8_t *bytes, size_t length, uint8_t *out) {
    const unsigned one_in = atomic_load(&relay->one_in);
    size_t used = 0;

    for (size_t i = 0; i < length; i++) {
        out[used++] = bytes[i];
        if (one_in == 0 || draw(relay) % one_in != 0)
            continue;
        atomic_fetch_add(&relay->spoilt, 1);
        switch (draw(relay) % KINDS_OF_NOISE) {
        case 0: out[used - 1] ^= (uint8_t)(1u << draw(relay) % 8); break;
        case 1: used--; break;
        case 2: out[used++] = bytes[i]; break;
        default: out[used++] = (uint8_t)draw(relay);
        }
    }
    return used;
}

static void pass_on(struct relay *relay, int from, int to, struct capture *capture) {
    uint8_t bytes[READ_BYTES], noisy[2 * READ_BYTES];
    const ssize_t count = read(from, bytes, sizeof bytes);
    size_t length;

    if (count <= 0)
        return;
    if (capture != NULL)
        capture_add(capture, bytes, (size_t)count);
    length = add_noise(relay, bytes, (size_t)count, noisy);
    if (length > 0 && write(to, noisy, length) < 0)
        return;
}

static void *run(void *argument) {
    struct relay *relay = argument;
    const struct timespec nap = {.tv_nsec = NAP_NS};

    while (!atomic_load(&relay->stop)) {
        struct pollfd looks[] = {{.fd = relay->line.near, .events = POLLIN},
                                 {.fd = relay->controller.near, .events = POLLIN}};

        poll(looks, 2, LOOK_MS);
        if (looks[0].revents & POLLIN)
            pass_on(relay, relay->line.near, relay->controller.near, relay->capture);
        if (looks[1].revents & POLLIN)
            pass_on(relay, relay->controller.near, relay->line.near, NULL);
        if ((looks[0].revents | looks[1].revents) & POLLHUP)
            nanosleep(&nap, NULL);
    }
    return NULL;
}

void relay_open(struct relay *relay, uint32_t seed, struct capture *capture) {
    memset(relay, 0, sizeof *relay);
    pty_pair_open(&relay->line);
    pty_pair_open(&relay->controller);
    relay->seed = seed;
    relay->capture = capture;
}

void relay_start(struct relay *relay) {
    pthread_create(&relay->thread, NULL, run, relay);
}

void relay_close(struct relay *relay) {
    atomic_store(&relay->stop, true);
    pthread_join(relay->thread, NULL);
    pty_pair_close(&relay->line);
    pty_pair_close(&relay->controller);
}
