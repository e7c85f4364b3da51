// SPDX-License-Identifier: MIT
/* soakledgerd: records oven runs. Reads as a script: options, configuration, ledger, clock, session, threads, loop.
 */
#include <getopt.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <systemd/sd-daemon.h>
#include <unistd.h>

#include "session.h"
#include "soakledger/alert.h"
#include "soakledger/clock.h"
#include "soakledger/config.h"
#include "soakledger/journal.h"
#include "soakledger/ledger.h"
#include "soakledger/loop.h"
#include "soakledger/queue.h"
#include "soakledger/run.h"
#include "soakledger/version.h"
#include "soakledger/writer.h"

#define DEFAULT_CONFIG "/etc/soakledger/soakledger.conf"

/* At least a minute of readings at full rate, and never less than this. */
enum { QUEUE_LEAST = 8192, QUEUE_SECONDS = 120, MS_PER_S = 1000 };

struct daemon {
    struct config *config;
    struct ledger *ledger;
    struct clock *clock;
    struct queue *queue;
    struct alert_desk *desk;
    struct loop *loop;
    int64_t *oven_ids, *channel_ids;
};

static const char usage[] =
    "usage: soakledgerd [-c FILE] [--check]\n"
    "\n"
    "Records oven runs from temperature controllers on serial lines. It only ever reads from them.\n"
    "\n"
    "  -c, --config FILE  configuration (default " DEFAULT_CONFIG ")\n"
    "      --check        read the configuration, say whether it is sound, and end\n"
    "      --version      print the version\n"
    "      --help         print this\n"
    "\n"
    "It stays in the foreground and writes its journal to standard error. See soakledgerd(8).\n";

static const char *plural(size_t count) {
    return count == 1 ? "" : "s";
}

static size_t choose_queue_capacity(const struct config *config) {
    size_t capacity = QUEUE_LEAST;

    for (size_t i = 0; i < config->channel_count; i++)
        capacity += (size_t)(QUEUE_SECONDS * MS_PER_S / config->channels[i].interval_ms);
    return capacity;
}

static int open_clock(struct daemon *daemon, struct fault *fault) {
    daemon->clock = daemon->config->clock_page != NULL
                        ? clock_open_simulated(daemon->config->clock_page, "soakledgerd", fault)
                        : clock_open_real(fault);
    return daemon->clock == NULL ? -1 : 0;
}

static int place_clock(struct daemon *daemon, struct fault *fault) {
    struct ledger_session last;
    char boot_id[CLOCK_BOOT_ID_BYTES];
    int64_t last_ms;
    int found;

    found = ledger_last_session(daemon->ledger, &last, fault);
    last_ms = ledger_last_time(daemon->ledger, fault);
    if (found < 0 || last_ms < 0)
        return -1;
    clock_read_boot_id(daemon->clock, boot_id);
    if (found == 1 && strcmp(boot_id, last.boot_id) == 0) // the same boot: the timeline simply goes on
        clock_anchor(daemon->clock, last.started_ms, last.boottime_ms);
    if (clock_read_ms(daemon->clock) <= last_ms) { // the wall clock of this boot is behind: never go back
        if (clock_is_simulated(daemon->clock) && clock_read_ms(daemon->clock) == last_ms)
            return 0; // time stood still meanwhile
        if (clock_is_simulated(daemon->clock))
            return fault_set(fault, EX_DATAERR, "the ledger holds readings later than the simulated clock");
        journal_write(JOURNAL_WARNING,
                      "the wall clock is behind the ledger; the timeline goes on from its last moment");
        clock_anchor(daemon->clock, last_ms + 1, clock_boottime_ms(daemon->clock));
    }
    return 0;
}

static int add_session(struct daemon *daemon, struct fault *fault) {
    return session_add(daemon->ledger, daemon->config, daemon->clock, clock_read_ms(daemon->clock),
                       daemon->oven_ids, daemon->channel_ids, fault);
}

/* Says how long nothing was recorded, and how that is known. Called before the session is added. */
static int describe_start(struct daemon *daemon, struct event *event, struct fault *fault) {
    struct ledger_session last = {0};
    struct ledger_run run;
    const int found = ledger_last_session(daemon->ledger, &last, fault);
    const int64_t last_ms = ledger_last_time(daemon->ledger, fault);
    char boot_id[CLOCK_BOOT_ID_BYTES];
    bool run_on = false;

    if (found < 0 || last_ms < 0)
        return -1;
    for (size_t i = 0; i < daemon->config->oven_count; i++) {
        const int64_t oven_id = ledger_find_oven(daemon->ledger, daemon->config->ovens[i].name, fault);
        const int open = oven_id > 0 ? ledger_find_open_run(daemon->ledger, oven_id, &run, fault) : (int)oven_id;

        if (open < 0)
            return -1;
        run_on |= open == 1;
    }
    *event = (struct event){.t_ms = clock_read_ms(daemon->clock), .kind = run_on ? EVENT_RESUMED : EVENT_STARTED};
    if (!run_on)
        return 0;
    clock_read_boot_id(daemon->clock, boot_id);
    event->amount = event->t_ms - last_ms;
    snprintf(event->detail, sizeof event->detail, "%s",
             strcmp(boot_id, last.boot_id) == 0 ? "same boot: measured by the time since boot"
                                                : "after a reboot: by the wall clock");
    return 0;
}

/* Better known now than when the oven burns. */
static int check_command(const struct config *config, struct fault *fault) {
    const char *const *command = config->alert.command;

    return command == NULL || access(command[0], X_OK) == 0
               ? 0
               : fault_set_errno(fault, EX_CONFIG, "alert command %s cannot be run", command[0]);
}

/* A command that cannot be run must not keep the oven from being recorded. */
static int open_desk(struct daemon *daemon, struct fault *fault) {
    const struct config_alert *alert = &daemon->config->alert;
    struct fault trouble;

    if (check_command(daemon->config, &trouble) != 0)
        journal_write(JOURNAL_ERROR, "%s; recording all the same", trouble.text);
    daemon->desk = alert_open(alert->command, alert->escalate_after_ms, alert->time_limit_ms, fault);
    return daemon->desk == NULL ? -1 : 0;
}

/* Damage that the first look did not find may show as the ledger is first read. */
static int begin_session(struct daemon *daemon, struct event *first, struct fault *fault) {
    daemon->oven_ids = calloc(daemon->config->oven_count + 1, sizeof *daemon->oven_ids);
    daemon->channel_ids = calloc(daemon->config->channel_count + 1, sizeof *daemon->channel_ids);
    if (daemon->oven_ids == NULL || daemon->channel_ids == NULL)
        return fault_set(fault, EX_OSERR, "no memory for %zu channels", daemon->config->channel_count);
    for (;;) {
        if (place_clock(daemon, fault) == 0 && describe_start(daemon, first, fault) == 0 &&
            add_session(daemon, fault) == 0)
            return 0;
        if (ledger_kept_file(daemon->ledger) != NULL || ledger_begin_anew(daemon->ledger, fault) != 1)
            return -1; // once is enough: a new one that is damaged at once speaks of the disk
    }
}

static int run_daemon(struct daemon *daemon, struct fault *fault) {
    struct message first = {.kind = MESSAGE_EVENT};
    struct writer *writer;
    struct fault last = {0};
    int result;

    if (begin_session(daemon, &first.event, fault) != 0)
        return -1;
    if (open_desk(daemon, fault) != 0)
        return -1;
    session_tell_anew(daemon->ledger, daemon->desk, clock_read_ms(daemon->clock));
    daemon->queue = queue_open(choose_queue_capacity(daemon->config), fault);
    if (daemon->queue == NULL)
        return -1;
    daemon->loop =
        loop_open(daemon->config, daemon->channel_ids, daemon->clock, daemon->queue, daemon->desk, fault);
    if (daemon->loop == NULL)
        return -1;
    queue_push(daemon->queue, &first);
    writer = writer_start(daemon->ledger, daemon->config, daemon->oven_ids, daemon->channel_ids, daemon->queue,
                          daemon->desk, daemon->clock, fault);
    if (writer == NULL)
        return -1;
    journal_write(JOURNAL_NOTICE, "recording %zu channel%s of %zu oven%s on %zu line%s into %s%s",
                  daemon->config->channel_count, plural(daemon->config->channel_count), daemon->config->oven_count,
                  plural(daemon->config->oven_count), daemon->config->line_count,
                  plural(daemon->config->line_count), daemon->config->ledger_path,
                  clock_is_simulated(daemon->clock) ? " (SIMULATED CLOCK)" : "");
    sd_notify(0, "READY=1");
    result = loop_run(daemon->loop, writer, fault);
    sd_notify(0, "STOPPING=1");
    queue_shut(daemon->queue);
    if (writer_finish(writer, &last) != 0) {
        if (result == 0)
            *fault = last;
        result = -1;
    }
    return result;
}

static int start(struct daemon *daemon, const char *config_path, bool check_only, struct fault *fault) {
    daemon->config = config_read(config_path, fault);
    if (daemon->config == NULL)
        return -1;
    if (check_only && check_command(daemon->config, fault) != 0)
        return -1;
    if (check_only) {
        printf("%s: sound: %zu oven%s, %zu channel%s, %zu instrument%s on %zu line%s\n", config_path,
               daemon->config->oven_count, plural(daemon->config->oven_count), daemon->config->channel_count,
               plural(daemon->config->channel_count), daemon->config->instrument_count,
               plural(daemon->config->instrument_count), daemon->config->line_count,
               plural(daemon->config->line_count));
        return 0;
    }
    daemon->ledger = ledger_open(daemon->config->ledger_path, LEDGER_RECORD, fault);
    if (daemon->ledger == NULL)
        return -1;
    return open_clock(daemon, fault) == 0 ? run_daemon(daemon, fault) : -1;
}

static void stop(struct daemon *daemon) {
    loop_free(daemon->loop);
    alert_close(daemon->desk);
    queue_free(daemon->queue);
    clock_close(daemon->clock);
    ledger_close(daemon->ledger);
    free(daemon->oven_ids);
    free(daemon->channel_ids);
    config_free(daemon->config);
}

int main(int argc, char **argv) {
    enum { OPTION_CHECK = 256, OPTION_VERSION, OPTION_HELP };
    static const struct option options[] = {
        {"config", required_argument, NULL, 'c'},
        {"check", no_argument, NULL, OPTION_CHECK},
        {"version", no_argument, NULL, OPTION_VERSION},
        {"help", no_argument, NULL, OPTION_HELP},
        {NULL, 0, NULL, 0},
    };
    struct daemon daemon = {0};
    struct fault fault = {0};
    const char *config_path = DEFAULT_CONFIG;
    bool check_only = false;
    int option, result;

    while ((option = getopt_long(argc, argv, "c:", options, NULL)) != -1) {
        switch (option) {
        case 'c': config_path = optarg; break;
        case OPTION_CHECK: check_only = true; break;
        case OPTION_VERSION: puts("soakledgerd " SOAKLEDGER_VERSION); return EX_OK;
        case OPTION_HELP: fputs(usage, stdout); return EX_OK;
        default: fputs(usage, stderr); return EX_USAGE;
        }
    }
    if (optind < argc) {
        fprintf(stderr, "soakledgerd: '%s' is not understood: expected options only\n", argv[optind]);
        return EX_USAGE;
    }
    result = start(&daemon, config_path, check_only, &fault);
    stop(&daemon);
    if (result != 0)
        journal_write(JOURNAL_ERROR, "soakledgerd: %s", fault.text);
    return result == 0 ? EX_OK : fault.status;
}
