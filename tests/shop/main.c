// SPDX-License-Identifier: MIT
/* shop: plays ovens and their instruments on pseudo-terminals. The scenario file says which; scene.h
 * tells how it is written.
 *
 *   shop [--page FILE [--hold NAME]] [--dir DIR] [--log FILE] SCENARIO
 *   shop --trace OVEN [--step DURATION] [--until TIME] SCENARIO
 *
 * Prints "ready" when all lines can be opened, and runs until SIGTERM or SIGINT. SIGUSR1 writes the counts.
 * With --page it makes the page of a simulated clock at the scenario's start and takes part in it as "shop";
 * without, the play begins now and runs in real time. --hold leaves a held place on the page before "ready": time
 * then stands still until a program takes the place NAME (until does). Without it a scenario in which a line
 * vanishes or returns would run to that moment before anybody else has joined.
 */
#include <errno.h>
#include <getopt.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/signalfd.h>
#include <unistd.h>

#include "play.h"
#include "port.h"
#include "scene.h"
#include "soakledger/clock.h"
#include "soakledger/quantity.h"
#include "tally.h"
#include "trace.h"

enum { US_PER_MS = 1000, TRACE_STEP_MS = 10000, AFTER_LAST_EVENT_MS = 3600000, READ_WITHIN_US = 1000 };
static const char USAGE[] = "usage: shop [--page FILE [--hold NAME]] [--dir DIR] [--log FILE] SCENARIO\n"
                            "       shop --trace OVEN [--step DURATION] [--until TIME] SCENARIO\n";

struct options {
    const char *page, *hold, *dir, *log, *trace, *step, *until, *scenario;
};

struct shop {
    struct scene *scene;
    struct clock *clock;
    int64_t shift_us; // from the clock to the play's time
    struct play *play;
    struct tally *tally;
    struct port *ports[SCENE_LINES];
    int signals; // descriptor
    bool done;
};

static int read_options(int argc, char **argv, struct options *options) {
    static const struct option NAMES[] = {
        {"page", required_argument, NULL, 'p'},  {"hold", required_argument, NULL, 'h'},
        {"dir", required_argument, NULL, 'd'},   {"log", required_argument, NULL, 'l'},
        {"trace", required_argument, NULL, 't'}, {"step", required_argument, NULL, 's'},
        {"until", required_argument, NULL, 'u'}, {NULL, 0, NULL, 0},
    };
    int option;

    while ((option = getopt_long(argc, argv, "", NAMES, NULL)) != -1)
        switch (option) {
        case 'p': options->page = optarg; break;
        case 'h': options->hold = optarg; break;
        case 'd': options->dir = optarg; break;
        case 'l': options->log = optarg; break;
        case 't': options->trace = optarg; break;
        case 's': options->step = optarg; break;
        case 'u': options->until = optarg; break;
        default: return -1;
        }
    if (optind != argc - 1 || (options->hold != NULL && options->page == NULL))
        return -1;
    options->scenario = argv[optind];
    return 0;
}

static int run_trace(const struct options *options, const struct scene *scene, struct fault *fault) {
    int64_t step_ms = TRACE_STEP_MS;
    int64_t until_ms = scene->start_ms + AFTER_LAST_EVENT_MS;

    if (scene->event_count > 0)
        until_ms = scene->events[scene->event_count - 1].t_ms + AFTER_LAST_EVENT_MS;
    if ((options->step != NULL && quantity_parse_duration(options->step, &step_ms, fault) != 0) ||
        (options->until != NULL && quantity_parse_time(options->until, &until_ms, fault) != 0))
        return -1;
    if (step_ms < 1)
        return fault_set(fault, EX_USAGE, "--step is 0 ms: expected more");
    return trace_write(scene, options->trace, step_ms, until_ms, stdout, fault);
}

static int open_signals(struct fault *fault) {
    sigset_t set;
    int descriptor;

    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGUSR1);
    descriptor = sigprocmask(SIG_BLOCK, &set, NULL) == 0 ? signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK) : -1;
    return descriptor >= 0 ? descriptor : fault_set_errno(fault, EX_OSERR, "cannot wait for signals");
}

static void take_signals(struct shop *shop) {
    struct signalfd_siginfo info;

    while (read(shop->signals, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo == SIGUSR1)
            tally_write(shop->tally);
        else
            shop->done = true;
    }
}

/* Brings play and lines to the present. */
static int catch_up(struct shop *shop, int64_t *now_us, struct fault *fault) {
    *now_us = clock_now_us(shop->clock) + shop->shift_us;
    play_advance(shop->play, *now_us / US_PER_MS);
    for (size_t i = 0; i < shop->scene->line_count; i++) {
        if (!play_line_is_there(shop->play, i))
            port_vanish(shop->ports[i]);
        else if (port_appear(shop->ports[i], fault) != 0)
            return -1;
    }
    return 0;
}

static int64_t find_deadline_us(const struct shop *shop) {
    const int64_t change_ms = play_next_line_change_ms(shop->play);
    int64_t deadline_us = change_ms == INT64_MAX ? CLOCK_NEVER_US : change_ms * US_PER_MS;

    for (size_t i = 0; i < shop->scene->line_count; i++)
        if (port_due_us(shop->ports[i]) < deadline_us)
            deadline_us = port_due_us(shop->ports[i]);
    return deadline_us == CLOCK_NEVER_US ? CLOCK_NEVER_US : deadline_us - shop->shift_us;
}

static int run_once(struct shop *shop, struct fault *fault) {
    struct pollfd waiting[SCENE_LINES + 1];
    const size_t lines = shop->scene->line_count;
    int64_t now_us;

    for (size_t i = 0; i < lines; i++)
        waiting[i] = (struct pollfd){.fd = port_descriptor(shop->ports[i]), .events = POLLIN};
    waiting[lines] = (struct pollfd){.fd = shop->signals, .events = POLLIN};
    if (clock_wait(shop->clock, waiting, lines + 1, find_deadline_us(shop), false) < 0 && errno != EINTR)
        return fault_set_errno(fault, EX_OSERR, "cannot wait");
    if (waiting[lines].revents != 0)
        take_signals(shop);
    if (catch_up(shop, &now_us, fault) != 0)
        return -1;
    for (size_t i = 0; i < lines; i++) {
        // While we are awake time stands still.
        if (port_send_due(shop->ports[i], shop->play, now_us) && clock_is_simulated(shop->clock))
            usleep(READ_WITHIN_US);
        if (waiting[i].revents != 0 && port_descriptor(shop->ports[i]) == waiting[i].fd)
            port_serve(shop->ports[i], shop->play, shop->tally, now_us);
    }
    return 0;
}

/* Makes the page and takes part in it; a real clock is moved to the scenario's start instead. */
static int open_clock(struct shop *shop, const struct options *options, struct fault *fault) {
    struct clock *held;

    if (options->page == NULL) {
        shop->clock = clock_open_real(fault);
        if (shop->clock != NULL)
            shop->shift_us = shop->scene->start_ms * US_PER_MS - clock_now_us(shop->clock);
        return shop->clock == NULL ? -1 : 0;
    }
    if (clock_create_page(options->page, shop->scene->start_ms, fault) != 0)
        return -1;
    if (options->hold != NULL) {
        held = clock_open_simulated(options->page, options->hold, fault);
        if (held == NULL)
            return -1;
        clock_leave_held(held);
    }
    shop->clock = clock_open_simulated(options->page, "shop", fault);
    return shop->clock == NULL ? -1 : 0;
}

static int open_shop(struct shop *shop, const struct options *options, struct fault *fault) {
    int64_t now_us;

    shop->signals = open_signals(fault);
    if (shop->signals < 0 || open_clock(shop, options, fault) != 0)
        return -1;
    shop->play = play_open(shop->scene, fault);
    shop->tally = shop->play == NULL ? NULL : tally_open(shop->scene, options->log, fault);
    if (shop->tally == NULL)
        return -1;
    for (size_t i = 0; i < shop->scene->line_count; i++) {
        shop->ports[i] = port_new(shop->scene, i, options->dir, fault);
        if (shop->ports[i] == NULL)
            return -1;
    }
    return catch_up(shop, &now_us, fault);
}

static void close_shop(struct shop *shop) {
    for (size_t i = 0; i < shop->scene->line_count; i++) {
        if (shop->ports[i] != NULL)
            port_settle(shop->ports[i], shop->tally, clock_now_us(shop->clock) + shop->shift_us);
        port_free(shop->ports[i]);
    }
    tally_close(shop->tally);
    play_close(shop->play);
    clock_close(shop->clock);
    if (shop->signals >= 0)
        close(shop->signals);
}

static int run_shop(struct scene *scene, const struct options *options, struct fault *fault) {
    struct shop shop = {.scene = scene, .signals = -1};
    int result = open_shop(&shop, options, fault);

    if (result == 0) {
        puts("ready");
        fflush(stdout);
    }
    while (result == 0 && !shop.done)
        result = run_once(&shop, fault);
    close_shop(&shop);
    return result;
}

int main(int argc, char **argv) {
    struct options options = {0};
    struct fault fault;
    struct scene *scene;
    int result;

    if (read_options(argc, argv, &options) != 0) {
        fputs(USAGE, stderr);
        return EX_USAGE;
    }
    scene = scene_read(options.scenario, &fault);
    if (scene == NULL)
        result = -1;
    else if (options.trace != NULL)
        result = run_trace(&options, scene, &fault);
    else
        result = run_shop(scene, &options, &fault);
    scene_free(scene);
    if (result != 0)
        fprintf(stderr, "shop: %s\n", fault.text);
    return result == 0 ? EX_OK : fault.status;
}
