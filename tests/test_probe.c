// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* Finding controllers: asking on a line, and the command as users see it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include "soakledger/config.h"
#include "soakledger/probe.h"
#include "soakledger/words.h"
#include "support/bus.h"
#include "support/libmodbus_controller.h"
#include "support/paper.h"
#include "support/pty_pair.h"
#include "support/relay.h"

enum { COLUMNS = 80, ROWS = 24, OUTPUT_BYTES = 65536, PATH_BYTES = 256 };

static const struct probe_setting ANY = {19200, PARITY_EVEN, 1};
static struct capture sent = CAPTURE_EMPTY;

/* ---- asking ---- */

static void open_probe(struct probe_line *probe, const char *device, int64_t reply_within_ms) {
    struct fault fault = {0};

    *probe = (struct probe_line){.stop = -1, .reply_within_ms = reply_within_ms};
    probe->clock = clock_open_real(&fault);
    if (probe->clock == NULL || probe_open_line(probe, device, &ANY, &fault) != 0)
        fail_msg("%s", fault.text);
}

static void close_probe(struct probe_line *probe) {
    probe_close_line(probe);
    clock_close(probe->clock);
}

static void names_whatever_comes_back(void **state) {
    static const struct {
        enum bus_manner manner;
        enum probe_answer answer;
    } cases[] = {
        {BUS_WELL, PROBE_GIVEN},
        {BUS_SILENT, PROBE_SILENT},
        {BUS_REFUSING, PROBE_REFUSED},
        {BUS_FLIPPED, PROBE_GARBLED},
        {BUS_CUT, PROBE_GARBLED},
        {BUS_OTHER_ADDRESS, PROBE_OTHER},
        {BUS_ECHOING, PROBE_GIVEN},
        {BUS_CHUNKED, PROBE_GIVEN},
        {BUS_ECHO_ONLY, PROBE_SILENT},
        {BUS_OTHER_COUNT, PROBE_GARBLED},
        {BUS_OTHER_FUNCTION, PROBE_GARBLED},
    };
    struct probe_line probe;
    struct probe_reply reply;
    struct bus bus;

    (void)state;
    bus_open(&bus, 1, 0, &sent);
    open_probe(&probe, bus.pair.far, 100);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        enum probe_answer answer;

        atomic_store(&bus.instruments[0].manner, cases[i].manner);
        answer = probe_ask(&probe, 1, MODBUS_READ_INPUT, 7, 3, &reply);
        if (answer != cases[i].answer)
            fail_msg("manner %d: %d instead of %d", (int)cases[i].manner, (int)answer, (int)cases[i].answer);
        if (answer == PROBE_GIVEN)
            for (unsigned k = 0; k < 3; k++)
                assert_int_equal(reply.registers[k], bus_register(1, MODBUS_READ_INPUT, 7 + k));
        if (answer == PROBE_OTHER)
            assert_int_equal(reply.address, 2);
        if (answer == PROBE_REFUSED)
            assert_int_equal(reply.exception, 2);
    }
    // A reply that nobody waits for any more spoils nothing.
    atomic_store(&bus.instruments[0].manner, BUS_WELL);
    atomic_store(&bus.instruments[0].delay_ms, 120);
    assert_int_equal(probe_ask(&probe, 1, MODBUS_READ_INPUT, 7, 3, &reply), PROBE_SILENT);
    atomic_store(&bus.instruments[0].delay_ms, 0);
    usleep(60000);
    assert_int_equal(probe_ask(&probe, 1, MODBUS_READ_HOLDING, 9, 1, &reply), PROBE_GIVEN);
    assert_int_equal(reply.registers[0], bus_register(1, MODBUS_READ_HOLDING, 9));
    bus_close(&bus);
    assert_int_equal(probe_ask(&probe, 1, MODBUS_READ_HOLDING, 9, 1, &reply), PROBE_LOST);
    close_probe(&probe);
}

static void maps_what_libmodbus_holds(void **state) {
    struct relay relay;
    struct probe_line probe;
    struct probe_map map;
    struct probe_reply reply;
    char text[PROBE_TEXT_BYTES];
    uint16_t first, count;
    enum probe_answer answer = PROBE_SILENT;
    pid_t child;

    (void)state;
    relay_open(&relay, 1, &sent);
    child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        libmodbus_serve(relay.controller.far, 17);
    }
    relay_start(&relay);
    open_probe(&probe, relay.line.far, 300);
    for (int i = 0; i < 10 && answer != PROBE_GIVEN; i++) // until it listens
        answer = probe_ask(&probe, 17, MODBUS_READ_HOLDING, 0, 1, &reply);
    probe_begin_map(&map, 0, 70);
    while (probe_next_block(&map, &first, &count)) {
        answer = probe_ask(&probe, 17, MODBUS_READ_HOLDING, first, count, &reply);
        assert_true(answer == PROBE_GIVEN || answer == PROBE_REFUSED);
        probe_note_block(&map, answer == PROBE_GIVEN);
    }
    assert_string_equal(probe_name_ranges(&map, text), "0 to 63");
    assert_int_equal(probe_ask(&probe, 17, MODBUS_READ_HOLDING, LIBMODBUS_SWAPPED_FLOAT_AT, 2, &reply),
                     PROBE_GIVEN);
    probe_show_register(' ', LIBMODBUS_SWAPPED_FLOAT_AT, reply.registers[0], &reply.registers[1], text);
    assert_string_equal(text + strlen(text) - 6, "805.25");
    close_probe(&probe);
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    relay_close(&relay);
}

/* ---- the command ---- */

static const char *build_folder(void) {
    const char *folder = getenv("SOAKLEDGER_BUILD");

    return folder != NULL ? folder : "build/gcc";
}

static void check_columns(const char *text) {
    char *copy = strdup(text), *from = copy;

    for (char *line = strsep(&from, "\n"); line != NULL; line = strsep(&from, "\n")) {
        if (words_columns(line) > COLUMNS)
            fail_msg("too wide: %s", line);
        assert_true(line[0] == '\0' || line[strlen(line) - 1] != ' ');
    }
    free(copy);
}

static void judge(const char *words, int expected, const char *part, int status, char *said) {
    if (status != expected || !paper_has(said, part))
        fail_msg("'%s': status %d, said: %s", words, status, said);
    check_columns(expected == 0 ? said : "");
    free(said);
}

static void expect(int expected, const char *part, const char *words) {
    int status;
    char *said = paper_run(&status, "%s/soakledger %s 2>&1", build_folder(), words);

    judge(words, expected, part, status, said);
}

/* Commands that take seconds run while other tests do. */
struct job {
    char words[2 * PATH_BYTES];
    FILE *pipe;
};

static void start(struct job *job, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void start(struct job *job, const char *format, ...) {
    char line[4 * PATH_BYTES];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(job->words, sizeof job->words, format, arguments);
    va_end(arguments);
    snprintf(line, sizeof line, "exec %s/soakledger %s 2>&1", build_folder(), job->words);
    job->pipe = popen(line, "re");
    assert_non_null(job->pipe);
}

static char *finish(struct job *job, int *status) {
    char *said = calloc(1, OUTPUT_BYTES);

    assert_non_null(said);
    said[fread(said, 1, OUTPUT_BYTES - 1, job->pipe)] = '\0';
    *status = pclose(job->pipe);
    *status = WIFEXITED(*status) ? WEXITSTATUS(*status) : -1;
    return said;
}

static void expect_of(struct job *job, int expected, const char *part) {
    int status;
    char *said = finish(job, &status);

    judge(job->words, expected, part, status, said);
}

static void has(const char *said, const char *part) {
    if (!paper_has(said, part))
        fail_msg("'%s' is not in:\n%s", part, said);
}

/* What is printed to be pasted is a configuration that can be used. */
static void check_sections(const char *folder, const char *said) {
    const char *sections = strstr(said, "[line bench]");
    char path[PATH_BYTES + 16], *text = NULL;
    struct fault fault = {0};
    struct config *config;

    assert_non_null(sections);
    assert_true(asprintf(&text, "[ledger]\npath = /tmp/none.ledger\n\n%s", sections) > 0);
    snprintf(path, sizeof path, "%s/pasted.conf", folder);
    paper_write(path, text, strlen(text));
    config = config_read(path, &fault);
    if (config == NULL) {
        fail_msg("%s", fault.text);
        return;
    }
    assert_int_equal(config->instrument_count, 3);
    assert_int_equal(config->lines[0].kind, LINE_PSEUDO_TERMINAL);
    config_free(config);
    free(text);
}

static pid_t start_shop(const char *folder) {
    char log[PATH_BYTES + 16], bench[PATH_BYTES + 16], program[PATH_BYTES];
    const pid_t child = fork();

    assert_true(child >= 0);
    snprintf(log, sizeof log, "%s/wire.log", folder);
    snprintf(bench, sizeof bench, "%s/second", folder);
    snprintf(program, sizeof program, "%s/shop", build_folder());
    if (child == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        if (freopen("/dev/null", "w", stdout) != NULL)
            execl(program, "shop", "--dir", folder, "--log", log, "tests/system/three.shop", NULL);
        _exit(EXIT_FAILURE);
    }
    for (int i = 0; i < 100 && access(bench, F_OK) != 0; i++)
        usleep(50000);
    assert_int_equal(access(bench, F_OK), 0);
    return child;
}

/* Whatever is in the shop's log but counts of functions 03 and 04 is something else than reading. */
static void check_only_read(const char *folder) {
    char *others = paper_run(NULL,
                             "grep -v -e '^count .* function=0[34] frames=' -e '^end of counts' %s/wire.log; "
                             "grep -c '^count' %s/wire.log >%s/counts",
                             folder, folder, folder);
    char *counts = paper_run(NULL, "cat %s/counts", folder);

    assert_string_equal(others, "");
    assert_true(atoi(counts) >= 16); // every address was asked
    free(others);
    free(counts);
}

/* What the commands of all the tests below talk to. */
struct stage {
    char folder[PATH_BYTES];
    pid_t shop;
    struct job three, one, busy, nobody, doubled, slow;
    struct pty_pair asked;
    struct bus empty, noisy, tired;
};

static int set_stage(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    assert_non_null(stage);
    *state = stage;
    strcpy(stage->folder, "/tmp/soakledger-probe-XXXXXX");
    assert_non_null(mkdtemp(stage->folder));
    stage->shop = start_shop(stage->folder);
    pty_pair_open(&stage->asked);
    bus_open(&stage->empty, 2, 0, &sent);
    bus_open(&stage->noisy, 1, 0, &sent);
    bus_open(&stage->tired, 1, 0, &sent);
    atomic_store(&stage->noisy.instruments[0].manner, BUS_FLIPPED);
    atomic_store(&stage->tired.instruments[0].delay_ms, 150);
    start(&stage->three, "probe %s/bench --reply-within '150 ms' --registers 0-31 --once", stage->folder);
    start(&stage->one, "probe %s/second --address=3 --registers 0-110 --once", stage->folder);
    start(&stage->busy, "probe %s --once", stage->asked.far);
    start(&stage->nobody, "probe %s --address 5 --function 3 --reply-within=20ms", stage->empty.pair.far);
    start(&stage->doubled, "probe %s --address 1 --function 3 --reply-within=20ms", stage->noisy.pair.far);
    start(&stage->slow, "probe %s --function 3 --reply-within '100 ms' --registers 3 --once",
          stage->tired.pair.far);
    return 0;
}

static int clear_stage(void **state) {
    struct stage *stage = *state;

    if (stage->shop > 0) {
        kill(stage->shop, SIGTERM);
        waitpid(stage->shop, NULL, 0);
    }
    bus_close(&stage->empty);
    bus_close(&stage->noisy);
    bus_close(&stage->tired);
    pty_pair_close(&stage->asked);
    free(paper_run(NULL, "rm -r %s", stage->folder));
    free(stage);
    return 0;
}

/* Nothing may be sent where somebody asks already. */
static void leaves_a_line_alone_on_which_somebody_asks(void **state) {
    struct stage *stage = *state;
    char line[PATH_BYTES] = "";
    uint8_t byte;

    // Its first line comes when it has begun to listen, or is about to.
    assert_non_null(fgets(line, sizeof line, stage->busy.pipe));
    usleep(300000);
    assert_int_equal(write(stage->asked.near, "asked", 5), 5);
    expect_of(&stage->busy, EX_UNAVAILABLE, "5 bytes came before anything was asked");
    assert_int_equal(read(stage->asked.near, &byte, 1), -1);
}

static void leaves_a_line_alone_that_somebody_has(void **state) {
    struct config_line config = {
        .name = "recorder", .kind = LINE_PSEUDO_TERMINAL, .speed_baud = 19200, .stop_bits = 1};
    char words[PATH_BYTES], name[PATH_BYTES];
    struct fault fault = {0};
    struct pty_pair pair;
    struct line *line;
    uint8_t byte;

    (void)state;
    pty_pair_open(&pair);
    config.device = pair.far;
    line = line_open(&config, &fault);
    assert_non_null(line);
    snprintf(words, sizeof words, "probe %s --once", pair.far);
    snprintf(name, sizeof name, "soakledger: %s is in use by test_probe (process %d): stop that first", pair.far,
             (int)getpid());
    expect(EX_UNAVAILABLE, name, words);
    assert_int_equal(read(pair.near, &byte, 1), -1);
    line_close(line);
    pty_pair_close(&pair);
}

static void says_what_to_check_when_nobody_answers(void **state) {
    struct stage *stage = *state;

    expect_of(&stage->nobody, EX_NOHOST, "no controller answered on /dev/pts/");
    expect_of(&stage->doubled, EX_NOHOST, "something that is no reply came at 19200 8E1");
}

/* Address 1 answers while another is asked. */
static void finds_one_that_is_too_slow(void **state) {
    struct stage *stage = *state;

    expect_of(&stage->slow, 0, "Address 1 answers late: give it more than 100 ms");
}

static void finds_three_controllers_by_reading_only(void **state) {
    struct stage *stage = *state;
    int status;
    char *said = finish(&stage->one, &status);

    has(said, "Function 3 (holding registers): none of 0 to 110.\nFunction 4 (input registers): 0 of");
    has(said, "function = 4\nregister = 0\n");
    assert_int_equal(status, 0);
    free(said);
    said = finish(&stage->three, &status);
    if (status != 0)
        fail_msg("%s", said);
    check_columns(said);
    has(said, "address 2, 19200 8E1.\nFound a controller: address 7, 19200 8E1.\nFound a controller: address 12,");
    assert_int_equal(paper_count(said, "Found a controller"), 3);
    has(said, "Function 3 (holding registers): 0 to 2 of 0 to 31.\nFunction 4 (input registers): none of");
    has(said, "Address 2, function 3, ");
    has(said, "\n     2 ");
    check_sections(stage->folder, said);
    free(said);
    kill(stage->shop, SIGTERM);
    waitpid(stage->shop, NULL, 0);
    stage->shop = 0;
    check_only_read(stage->folder);
}

static void refuses_what_it_does_not_understand(void **state) {
    (void)state;
    expect(EX_USAGE, "expected 'probe PORT", "probe");
    expect(EX_USAGE, "'ttyUSB0' is no port", "probe ttyUSB0");
    expect(EX_USAGE, "--address '248'", "probe /dev/null --address 248");
    expect(EX_USAGE, "--speed '9601': expected 1200", "probe /dev/null --speed 9601");
    expect(EX_USAGE, "--parity 'mark'", "probe /dev/null --parity mark");
    expect(EX_USAGE, "--stop-bits '3'", "probe /dev/null --stop-bits 3");
    expect(EX_USAGE, "--function '6': expected a whole number from 3 to 4", "probe /dev/null --function 6");
    expect(EX_USAGE, "--registers '9-3'", "probe /dev/null --registers 9-3");
    expect(EX_USAGE, "--registers '0-65536'", "probe /dev/null --registers 0-65536");
    expect(EX_USAGE, "--reply-within '5'", "probe /dev/null --reply-within 5");
    expect(EX_USAGE, "unknown option '--write'", "probe /dev/null --write 1");
    expect(EX_NOINPUT, "/dev/nothing-there", "probe /dev/nothing-there");
    expect(EX_IOERR, "is no serial port", "probe /dev/null");
    expect(EX_USAGE, "expected 'ports'", "ports all");
}

/* The command on a terminal of 80 x 24. */
struct screen {
    pid_t child;
    int terminal;
};

static void open_screen(struct screen *screen, const char *device, const char *no_color) {
    const struct winsize window = {.ws_row = ROWS, .ws_col = COLUMNS};
    char program[PATH_BYTES];

    snprintf(program, sizeof program, "%s/soakledger", build_folder());
    screen->child = forkpty(&screen->terminal, NULL, NULL, &window);
    assert_true(screen->child >= 0);
    if (screen->child > 0)
        return;
    setenv("NO_COLOR", no_color, 1);
    setenv("TERM", "vt100", 1);
    execl(program, "soakledger", "probe", device, "--address", "1", "--function", "3", "--registers", "0-31", NULL);
    _exit(EXIT_FAILURE);
}

/* Ends it as Ctrl-C does when two tables were shown; returns all that was. */
static char *watch(struct screen *screen, int *status) {
    char *said = calloc(1, OUTPUT_BYTES);
    size_t length = 0;
    ssize_t count;

    assert_non_null(said);
    for (bool told = false; (count = read(screen->terminal, said + length, OUTPUT_BYTES - 1 - length)) > 0;) {
        length += (size_t)count;
        if (!told && paper_count(said, "Address 1, function 3") >= 2)
            told = kill(screen->child, SIGINT) == 0; // a Ctrl-C typed throws away what is still to be shown
    }
    waitpid(screen->child, status, 0);
    close(screen->terminal);
    return said;
}

struct changer {
    struct pty_pair pair;
    pid_t child;
};

/* A controller whose every register counts the requests. */
static void start_counting(struct changer *changer) {
    pty_pair_open(&changer->pair);
    changer->child = fork();
    assert_true(changer->child >= 0);
    if (changer->child != 0)
        return;
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    for (unsigned asked = 0;;) {
        uint8_t request[MODBUS_REQUEST_BYTES], reply[MODBUS_FRAME_BYTES];
        struct pollfd look = {.fd = changer->pair.near, .events = POLLIN};
        size_t length = 3;
        uint16_t crc;

        poll(&look, 1, -1);
        if (read(changer->pair.near, request, sizeof request) != (ssize_t)sizeof request) {
            usleep(1000);
            continue;
        }
        memcpy(reply, request, 2);
        reply[2] = (uint8_t)(2 * request[5]);
        asked++;
        for (unsigned i = 0; i < request[5]; i++) {
            reply[length++] = (uint8_t)(i == 0 ? asked >> 8 : 0);
            reply[length++] = (uint8_t)(i == 0 ? asked : 7);
        }
        crc = modbus_crc(reply, length);
        reply[length++] = (uint8_t)(crc & 0xff);
        reply[length++] = (uint8_t)(crc >> 8);
        if (write(changer->pair.near, reply, length) < 0)
            _exit(EXIT_FAILURE);
    }
}

static void shows_registers_until_stopped(void **state) {
    struct changer changers[2];
    struct screen screens[2];
    int status[2];
    char *bold, *plain;

    (void)state;
    start_counting(&changers[0]);
    start_counting(&changers[1]);
    open_screen(&screens[0], changers[0].pair.far, "");
    open_screen(&screens[1], changers[1].pair.far, "1");
    bold = watch(&screens[0], &status[0]);
    plain = watch(&screens[1], &status[1]);
    assert_true(WIFEXITED(status[0]) && WEXITSTATUS(status[0]) == 0);
    assert_true(WIFEXITED(status[1]) && WEXITSTATUS(status[1]) == 0);
    // As many rows as fit, then back up over them: 19 rows, two of head, one above, one below.
    has(bold, "13 more: --registers 19-31");
    has(bold, "\033[23A\rAddress 1, function 3");
    has(bold, "[line bench]");
    has(bold, "\033[1m*    0 ");
    assert_null(strstr(bold, "*    1 "));
    has(plain, "*    0 ");
    assert_null(strstr(plain, "\033[1m"));
    for (size_t i = 0; i < 2; i++) {
        kill(changers[i].child, SIGKILL);
        waitpid(changers[i].child, NULL, 0);
        pty_pair_close(&changers[i].pair);
    }
    free(bold);
    free(plain);
}

static void lists_ports_for_people_and_machines(void **state) {
    int status;
    char *said;

    (void)state;
    said = paper_run(&status, "%s/soakledger ports", build_folder());
    assert_int_equal(status, 0);
    check_columns(said);
    // Rules where there are ports, and what to check where there are no adapters.
    assert_true(strstr(said, "SUBSYSTEM==\"tty\", ") != NULL || strstr(said, "'lsusb' must show it") != NULL);
    free(said);
    said = paper_run(&status,
                     "%s/soakledger ports --json | /usr/bin/python3 -c 'import json, sys; "
                     "print(all(p[\"device\"].startswith(\"/dev/\") for p in json.load(sys.stdin)))'",
                     build_folder());
    assert_int_equal(status, 0);
    assert_string_equal(said, "True\n");
    free(said);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_whatever_comes_back),
        cmocka_unit_test(maps_what_libmodbus_holds),
        cmocka_unit_test(leaves_a_line_alone_on_which_somebody_asks),
        cmocka_unit_test(leaves_a_line_alone_that_somebody_has),
        cmocka_unit_test(refuses_what_it_does_not_understand),
        cmocka_unit_test(shows_registers_until_stopped),
        cmocka_unit_test(lists_ports_for_people_and_machines),
        cmocka_unit_test(says_what_to_check_when_nobody_answers),
        cmocka_unit_test(finds_one_that_is_too_slow),
        cmocka_unit_test(finds_three_controllers_by_reading_only),
    };

    return cmocka_run_group_tests(tests, set_stage, clear_stage);
}
