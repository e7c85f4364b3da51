// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* shop's programs and lines: terminals held against libmodbus, the log that proves what was asked, simulated time
 * moved by a script. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <modbus/modbus.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "shop/example.h"
#include "shop/play.h"
#include "shop/port.h"
#include "shop/scene.h"
#include "shop/server.h"
#include "shop/tally.h"
#include "soakledger/clock.h"

enum { PATH_BYTES = 200 };
static const int64_t MS_PER_S = 1000, US_PER_MS = 1000, MS_PER_MIN = 60000;
static const int64_t start_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z
static const char week_path[] = "tests/demo/week.shop";

static struct scene *parse_scene(const char *programme) {
    struct fault fault = {0};
    struct scene *scene = example_read_scene(programme, &fault);

    if (scene == NULL)
        print_error("%s\n", fault.text);
    assert_non_null(scene);
    return scene;
}

static struct play *begin(const struct scene *scene) {
    struct fault fault;
    struct play *play = play_open(scene, &fault);

    assert_non_null(play);
    return play;
}

struct stage {
    char folder[PATH_BYTES];
    char link[PATH_BYTES + 16], log[PATH_BYTES + 16], page[PATH_BYTES + 16], scene[PATH_BYTES + 16];
    pid_t shop, other; // running programs, 0: none
};

static int set_stage(void **state) {
    struct stage *stage = calloc(1, sizeof *stage);

    if (stage == NULL)
        return -1;
    snprintf(stage->folder, sizeof stage->folder, "/tmp/soakledger-shop-XXXXXX");
    if (mkdtemp(stage->folder) == NULL) {
        free(stage);
        return -1;
    }
    snprintf(stage->link, sizeof stage->link, "%s/bench", stage->folder);
    snprintf(stage->log, sizeof stage->log, "%s/log", stage->folder);
    snprintf(stage->page, sizeof stage->page, "%s/page", stage->folder);
    snprintf(stage->scene, sizeof stage->scene, "%s/scene", stage->folder);
    *state = stage;
    return 0;
}

static void stop_shop(struct stage *stage) {
    int status = 0;

    if (stage->shop == 0)
        return;
    kill(stage->shop, SIGTERM);
    assert_int_equal(waitpid(stage->shop, &status, 0), stage->shop);
    assert_int_equal(status, 0);
    stage->shop = 0;
}

/* What a failed test left behind. */
static void kill_program(pid_t program) {
    if (program <= 0)
        return;
    kill(program, SIGKILL);
    waitpid(program, NULL, 0);
}

static int clear_stage(void **state) {
    struct stage *stage = *state;

    kill_program(stage->shop);
    kill_program(stage->other);
    unlink(stage->link);
    unlink(stage->log);
    unlink(stage->page);
    unlink(stage->scene);
    rmdir(stage->folder);
    free(stage);
    return 0;
}

static void find_program(const char *name, char *path, size_t bytes) {
    const char *build = getenv("SOAKLEDGER_BUILD");

    snprintf(path, bytes, "%s/%s", build != NULL ? build : "build/gcc", name);
}

/* Starts the program and waits for its "ready". */
static void start_shop(struct stage *stage, const char *programme, bool simulated) {
    char program[PATH_BYTES], ready[8] = "";
    FILE *file = fopen(stage->scene, "we");
    int ends[2];

    assert_non_null(file);
    fprintf(file, "%s%s", example_text, programme);
    fclose(file);
    find_program("shop", program, sizeof program);
    assert_int_equal(pipe(ends), 0);
    stage->shop = fork();
    assert_true(stage->shop >= 0);
    if (stage->shop == 0) {
        dup2(ends[1], STDOUT_FILENO);
        close(ends[0]);
        close(ends[1]);
        if (simulated)
            execl(program, program, "--page", stage->page, "--hold", "script", "--dir", stage->folder, "--log",
                  stage->log, stage->scene, (char *)NULL);
        else
            execl(program, program, "--dir", stage->folder, "--log", stage->log, stage->scene, (char *)NULL);
        _exit(EX_UNAVAILABLE);
    }
    close(ends[1]);
    assert_int_equal(read(ends[0], ready, sizeof "ready" - 1), sizeof "ready" - 1);
    assert_string_equal(ready, "ready");
    close(ends[0]);
}

static modbus_t *connect_client(const struct stage *stage) {
    modbus_t *client = modbus_new_rtu(stage->link, 19200, 'E', 8, 1);

    assert_non_null(client);
    assert_int_equal(modbus_connect(client), 0);
    assert_int_equal(modbus_set_slave(client, 17), 0);
    return client;
}

static void close_client(modbus_t *client) {
    modbus_close(client);
    modbus_free(client);
}

static void read_log(const struct stage *stage, char *text, size_t bytes) {
    FILE *file = fopen(stage->log, "re");

    assert_non_null(file);
    text[fread(text, 1, bytes - 1, file)] = '\0';
    fclose(file);
}

static void libmodbus_reads_what_the_shop_shows(void **state) {
    struct stage *stage = *state;
    uint16_t words[4];
    char log[1024];
    modbus_t *client;

    start_shop(stage, "1 = 2026-11-16T07:00:00Z oven kiln holds 300 C\n", false);
    client = connect_client(stage);
    assert_int_equal(modbus_read_registers(client, 1, 1, words), 1);
    assert_int_equal(words[0], 300);
    assert_int_equal(modbus_read_registers(client, 0, 3, words), 3);
    assert_in_range(words[0], 200, 300); // 21.0 C and what it warms in the first second or so
    assert_int_equal(modbus_read_input_registers(client, 8, 2, words), 2);
    assert_true(fabs((double)modbus_get_float_abcd(words) - 69.8) < 0.5); // 21 C in F
    assert_int_equal(modbus_read_registers(client, 3, 1, words), -1);
    assert_int_equal(errno, EMBXILADD);
    assert_int_equal(modbus_read_input_registers(client, 0, 1, words), -1);
    assert_int_equal(errno, EMBXILADD);
    close_client(client);
    stop_shop(stage);
    assert_int_equal(access(stage->link, F_OK), -1);
    read_log(stage, log, sizeof log);
    assert_string_equal(log, "count line=bench address=17 function=03 frames=3\n"
                             "count line=bench address=17 function=04 frames=2\nend of counts\n");
}

static void a_write_takes_effect_and_leaves_a_trace(void **state) {
    struct stage *stage = *state;
    uint16_t words[4];
    char log[2048];
    modbus_t *client;

    start_shop(stage, "", false);
    client = connect_client(stage);
    assert_int_equal(modbus_write_register(client, 1, 400), 1);
    assert_int_equal(modbus_read_registers(client, 1, 1, words), 1);
    assert_int_equal(words[0], 400);
    assert_int_equal(modbus_write_bit(client, 0, 0), 1);
    assert_int_equal(modbus_read_registers(client, 1, 1, words), 1);
    assert_int_equal(words[0], 0);
    words[0] = 250;
    assert_int_equal(modbus_write_registers(client, 1, 1, words), 1);
    assert_int_equal(modbus_read_registers(client, 1, 1, words), 1);
    assert_int_equal(words[0], 250);
    assert_int_equal(modbus_write_register(client, 0, 1), -1);
    assert_int_equal(errno, EMBXILADD);
    close_client(client);
    kill(stage->shop, SIGUSR1);
    do
        read_log(stage, log, sizeof log);
    while (strstr(log, "end of counts") == NULL);
    assert_non_null(strstr(log, "bytes=110600010190DB66 why=write\n"));
    assert_non_null(strstr(log, "bytes=110500000000CF5A why=write\n"));
    assert_non_null(strstr(log, " why=write\nother line=bench time="));
    assert_non_null(strstr(log, "function=05 frames=1\ncount line=bench address=17 function=06 frames=2\n"));
    assert_non_null(strstr(log, "function=10 frames=1\n"));
    stop_shop(stage);
}

/* A scene on its own port, without the program around it. */
static size_t exchange(struct port *port, struct play *play, struct tally *tally, int client, const char *hex,
                       uint8_t *reply) {
    struct pollfd came = {.fd = client, .events = POLLIN};
    uint8_t bytes[SERVER_FRAME_BYTES];
    const size_t length = example_bytes_from_hex(hex, bytes);
    ssize_t got = 0;

    assert_int_equal(write(client, bytes, length), length);
    port_serve(port, play, tally, start_ms * US_PER_MS);
    if (poll(&came, 1, 0) > 0)
        got = read(client, reply, SERVER_FRAME_BYTES);
    return got > 0 ? (size_t)got : 0;
}

static void frames_in_pieces_and_junk_are_told_apart(void **state) {
    struct stage *stage = *state;
    struct scene *scene = parse_scene("");
    struct play *play = begin(scene);
    struct fault fault;
    struct tally *tally = tally_open(scene, stage->log, &fault);
    struct port *port = port_new(scene, 0, stage->folder, &fault);
    uint8_t reply[SERVER_FRAME_BYTES];
    char log[2048];
    int client;

    assert_non_null(tally);
    assert_non_null(port);
    assert_int_equal(port_appear(port, &fault), 0);
    client = open(stage->link, O_RDWR | O_NOCTTY | O_NONBLOCK);
    assert_true(client >= 0);
    assert_int_equal(exchange(port, play, tally, client, "110300", reply), 0);
    assert_int_equal(exchange(port, play, tally, client, "01000197", reply), 0);
    assert_int_equal(exchange(port, play, tally, client, "5A", reply), 0); // a wrong check: junk
    assert_int_equal(exchange(port, play, tally, client, "110300010001D75A110300010001D75A", reply), 14); // two
    assert_int_equal(exchange(port, play, tally, client, "120300010001D769", reply), 0); // another's
    assert_int_equal(exchange(port, play, tally, client, "1107", reply), 0); // an unknown function, cut short
    usleep(60000);
    assert_int_equal(exchange(port, play, tally, client, "110300010001D75A", reply), 7);
    close(client);
    port_free(port);
    tally_close(tally);
    read_log(stage, log, sizeof log);
    assert_non_null(strstr(log, "bytes=110300010001975A why=no-frame\n"));
    assert_non_null(strstr(log, "bytes=1107 why=no-frame\n"));
    assert_non_null(
        strstr(log, "address=17 function=03 frames=3\ncount line=bench address=18 function=03 frames=1\n"));
    play_close(play);
    scene_free(scene);
}

static void a_slow_controller_answers_when_its_delay_is_over(void **state) {
    struct stage *stage = *state;
    struct scene *scene = parse_scene("");
    struct play *play = begin(scene);
    struct fault fault;
    struct tally *tally = tally_open(scene, NULL, &fault);
    struct port *port = port_new(scene, 0, stage->folder, &fault);
    uint8_t reply[SERVER_FRAME_BYTES];
    int64_t due_us;
    int client;

    scene->controllers[0].reply_delay_ms = 20;
    assert_non_null(tally);
    assert_non_null(port);
    assert_int_equal(port_appear(port, &fault), 0);
    client = open(stage->link, O_RDWR | O_NOCTTY | O_NONBLOCK);
    assert_true(client >= 0);
    assert_int_equal(port_due_us(port), INT64_MAX);
    assert_int_equal(exchange(port, play, tally, client, "110300010001D75A", reply), 0);
    due_us = start_ms * US_PER_MS + 20 * US_PER_MS;
    assert_int_equal(port_due_us(port), due_us);
    port_send_due(port, play, due_us - 1);
    assert_int_equal(read(client, reply, sizeof reply), -1);
    port_send_due(port, play, due_us);
    assert_int_equal(read(client, reply, sizeof reply), 7);
    assert_int_equal(port_due_us(port), INT64_MAX);
    close(client);
    port_free(port);
    tally_close(tally);
    play_close(play);
    scene_free(scene);
}

static void a_line_that_returns_is_another_terminal(void **state) {
    struct stage *stage = *state;
    struct scene *scene = parse_scene("");
    struct fault fault;
    struct port *port = port_new(scene, 0, stage->folder, &fault);
    struct pollfd client = {.events = POLLIN};

    assert_non_null(port);
    assert_int_equal(port_appear(port, &fault), 0);
    client.fd = open(stage->link, O_RDWR | O_NOCTTY);
    assert_true(client.fd >= 0);
    assert_int_equal(poll(&client, 1, 0), 0);
    port_vanish(port);
    assert_int_equal(access(stage->link, F_OK), -1);
    assert_int_equal(poll(&client, 1, 0), 1);
    assert_true(client.revents & POLLHUP);
    close(client.fd);
    assert_int_equal(port_appear(port, &fault), 0);
    assert_int_equal(access(stage->link, R_OK | W_OK), 0);
    port_vanish(port);
    close(open(stage->link, O_WRONLY | O_CREAT | O_CLOEXEC, 0600)); // somebody's file is in the way
    assert_int_equal(port_appear(port, &fault), -1);
    assert_non_null(strstr(fault.text, "no symbolic link"));
    assert_int_equal(access(stage->link, F_OK), 0);
    port_free(port);
    scene_free(scene);
}

static int run_until(const struct stage *stage, const char *end) {
    char program[PATH_BYTES], command[4 * PATH_BYTES];
    int status;

    find_program("until", program, sizeof program);
    snprintf(command, sizeof command, "%s %s script '%s' 2>>%s", program, stage->page, end, stage->log);
    status = system(command);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static const char warming[] = "1 = 2026-11-16T07:10:00Z oven kiln ramps to 300 C at 600 C/h\n"
                              "2 = 2026-11-16T07:30:00Z line bench vanishes\n"
                              "3 = 2026-11-16T07:40:00Z line bench returns\n";

/* The shop's first register over the line against a play of our own, at the same moment. */
static void compare_control(const struct stage *stage, struct play *play, int64_t t_ms) {
    modbus_t *client = connect_client(stage);
    uint16_t word = 0;

    play_advance(play, t_ms);
    assert_int_equal(modbus_read_registers(client, 0, 1, &word), 1);
    assert_int_equal(word, lround(10 * play_show_control(play, 0)));
    assert_true(word > 1000); // 100 C: it is warming
    close_client(client);
}

static void a_script_moves_simulated_time(void **state) {
    struct stage *stage = *state;
    struct fault fault;
    struct scene *scene = parse_scene(warming);
    struct play *play = begin(scene);
    struct clock *reader;

    start_shop(stage, warming, true);
    reader = clock_open_simulated(stage->page, NULL, &fault);
    assert_non_null(reader);
    assert_int_equal(run_until(stage, "2026-11-16T07:20:00Z"), 0);
    assert_int_equal(clock_read_ms(reader), start_ms + 20 * MS_PER_MIN);
    compare_control(stage, play, start_ms + 20 * MS_PER_MIN);
    assert_int_equal(run_until(stage, "2026-11-16T07:35:00Z"), 0);
    assert_int_equal(access(stage->link, F_OK), -1);
    assert_int_equal(run_until(stage, "+45 min 30 s"), 0);
    assert_int_equal(clock_read_ms(reader), start_ms + 80 * MS_PER_MIN + 30 * MS_PER_S);
    compare_control(stage, play, start_ms + 80 * MS_PER_MIN + 30 * MS_PER_S);
    assert_int_equal(run_until(stage, "tomorrow"), EX_DATAERR);
    clock_close(reader);
    stop_shop(stage);
    play_close(play);
    scene_free(scene);
}

static void a_script_holds_time_until_it_releases_it(void **state) {
    struct stage *stage = *state;
    struct fault fault;
    char program[PATH_BYTES];
    struct clock *reader;
    int status = 0;

    assert_int_equal(clock_create_page(stage->page, start_ms, &fault), 0);
    reader = clock_open_simulated(stage->page, NULL, &fault);
    assert_non_null(reader);
    assert_int_equal(run_until(stage, "+1 min"), 0);
    find_program("until", program, sizeof program);
    stage->other = fork();
    assert_true(stage->other >= 0);
    if (stage->other == 0) {
        execl(program, program, stage->page, "other", "+1 h", (char *)NULL);
        _exit(EX_UNAVAILABLE);
    }
    usleep(150000); // long enough for it to run through, were time not held
    assert_int_equal(waitpid(stage->other, &status, WNOHANG), 0);
    assert_int_equal(clock_read_ms(reader), start_ms + MS_PER_MIN);
    assert_int_equal(run_until(stage, "--release"), 0);
    assert_int_equal(waitpid(stage->other, &status, 0), stage->other);
    stage->other = 0;
    assert_int_equal(status, 0);
    assert_int_equal(clock_read_ms(reader), start_ms + 61 * MS_PER_MIN);
    clock_close(reader);
}

static void a_trace_shows_what_the_registers_would(void **state) {
    struct stage *stage = *state;
    char program[PATH_BYTES], command[4 * PATH_BYTES], line[PATH_BYTES];
    FILE *pipe_end;
    int rows = 0;

    find_program("shop", program, sizeof program);
    snprintf(command, sizeof command, "%s --trace hardening --step '10 min' --until 2026-11-16T08:40:00Z %s",
             program, week_path);
    (void)stage;
    pipe_end = popen(command, "re");
    assert_non_null(pipe_end);
    assert_non_null(fgets(line, sizeof line, pipe_end));
    assert_string_equal(line, "time,control_c,front_c,back_c,setpoint_c,output_percent\n");
    for (; fgets(line, sizeof line, pipe_end) != NULL; rows++)
        if (rows == 0)
            assert_memory_equal(line, "2026-11-16T06:30:00.000Z,2", 26);
    assert_int_equal(pclose(pipe_end), 0);
    assert_int_equal(rows, 14);
    assert_memory_equal(line, "2026-11-16T08:40:00.000Z,80", 27);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(libmodbus_reads_what_the_shop_shows, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_write_takes_effect_and_leaves_a_trace, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(frames_in_pieces_and_junk_are_told_apart, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_slow_controller_answers_when_its_delay_is_over, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_script_holds_time_until_it_releases_it, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_line_that_returns_is_another_terminal, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_script_moves_simulated_time, set_stage, clear_stage),
        cmocka_unit_test_setup_teardown(a_trace_shows_what_the_registers_would, set_stage, clear_stage),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
