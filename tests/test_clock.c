// SPDX-License-Identifier: MIT
// Measures real time: runs alone.
/* clock: the real timeline against the kernel's clocks, and programs that share a simulated page. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/clock.h"

enum { MS_PER_S = 1000, US_PER_MS = 1000 };
static const int64_t page_start_ms = INT64_C(1794812400000); // 2026-11-16T07:00:00Z

static char page_path[] = "/tmp/soakledger-clock-XXXXXX";

static int make_page(void **state) {
    struct fault fault;

    (void)state;
    strcpy(page_path, "/tmp/soakledger-clock-XXXXXX");
    close(mkstemp(page_path));
    return clock_create_page(page_path, page_start_ms, &fault);
}

static int remove_page(void **state) {
    (void)state;
    return unlink(page_path);
}

static struct clock *join(const char *name) {
    struct fault fault = {0};
    struct clock *clock = clock_open_simulated(page_path, name, &fault);

    if (clock == NULL)
        print_error("%s\n", fault.text);
    assert_non_null(clock);
    return clock;
}

static void real_clock_starts_at_utc_and_runs_with_boot_time(void **state) {
    struct fault fault;
    struct clock *clock = clock_open_real(&fault);
    struct timespec boot, utc;
    int64_t first_us;

    (void)state;
    assert_non_null(clock);
    clock_gettime(CLOCK_REALTIME, &utc);
    assert_in_range(clock_read_ms(clock) - utc.tv_sec * MS_PER_S - utc.tv_nsec / 1000000 + 100, 0, 200);
    first_us = clock_now_us(clock);
    assert_int_equal(clock_wait(clock, NULL, 0, first_us + 20 * US_PER_MS, false), 0);
    assert_true(clock_now_us(clock) >= first_us + 20 * US_PER_MS);
    clock_gettime(CLOCK_BOOTTIME, &boot);
    assert_in_range(boot.tv_sec * MS_PER_S + boot.tv_nsec / 1000000 - clock_boottime_ms(clock), 0, 100);
    clock_close(clock);
}

static void anchoring_goes_on_with_an_earlier_timeline(void **state) {
    struct fault fault;
    struct clock *clock = clock_open_real(&fault);
    const int64_t boot_ms = clock_boottime_ms(clock);
    int64_t step_ms;

    (void)state;
    clock_anchor(clock, page_start_ms, boot_ms - 5 * MS_PER_S);
    assert_in_range(clock_read_ms(clock) - page_start_ms, 5 * MS_PER_S, 5 * MS_PER_S + 200);
    assert_false(clock_take_step(clock, &step_ms)); // anchoring is not a step of the wall clock
    clock_close(clock);
}

static void real_clock_wakes_for_a_descriptor(void **state) {
    struct fault fault;
    struct clock *clock = clock_open_real(&fault);
    int pipes[2];
    struct pollfd fd;

    (void)state;
    assert_int_equal(pipe(pipes), 0);
    fd = (struct pollfd){.fd = pipes[0], .events = POLLIN};
    assert_int_equal(write(pipes[1], "x", 1), 1);
    assert_int_equal(clock_wait(clock, &fd, 1, CLOCK_NEVER_US, true), 1);
    assert_true(fd.revents & POLLIN);
    close(pipes[0]);
    close(pipes[1]);
    clock_close(clock);
}

static void simulated_time_jumps_to_the_deadline(void **state) {
    struct clock *clock = join("one");
    const int64_t start_us = clock_now_us(clock);

    (void)state;
    assert_int_equal(start_us, page_start_ms * US_PER_MS);
    assert_int_equal(clock_wait(clock, NULL, 0, start_us + INT64_C(86400000000), false), 0);
    assert_int_equal(clock_now_us(clock), start_us + INT64_C(86400000000));
    assert_int_equal(clock_boottime_ms(clock), 86400000);
    clock_close(clock);
}

static void time_waits_for_the_slowest(void **state) {
    struct clock *fast = join("fast"), *slow = join("slow");
    const int64_t start_us = clock_now_us(fast);
    pid_t child = fork();
    int status;

    (void)state;
    if (child == 0) { // the slow program sleeps in earnest before it lets a second pass
        struct fault fault;
        struct clock *own = clock_open_simulated(page_path, "third", &fault);

        usleep(30000);
        clock_wait(own, NULL, 0, start_us + 1000000, false);
        clock_leave_held(own);
        _exit(0);
    }
    usleep(10000); // let the third join
    clock_close(slow);
    assert_int_equal(clock_wait(fast, NULL, 0, start_us + 500000, false), 0);
    assert_int_equal(clock_now_us(fast), start_us + 500000);
    assert_int_equal(clock_wait(fast, NULL, 0, start_us + 1000000, false), 0);
    waitpid(child, &status, 0);
    assert_int_equal(clock_now_us(fast), start_us + 1000000);
    clock_close(fast);
}

static void a_place_left_held_stops_time_until_taken_again(void **state) {
    struct clock *script = join("script"), *daemon, *reader;
    const int64_t start_us = clock_now_us(script);
    struct pollfd fd;
    int pipes[2];

    (void)state;
    clock_leave_held(script);
    daemon = join("daemon");
    assert_int_equal(pipe(pipes), 0);
    fd = (struct pollfd){.fd = pipes[0], .events = POLLIN};
    if (fork() == 0) {
        usleep(20000);
        _exit(write(pipes[1], "x", 1) == 1 ? 0 : 1);
    }
    assert_int_equal(clock_wait(daemon, &fd, 1, start_us + 1000000, false), 1); // only the pipe ends the wait
    assert_int_equal(clock_now_us(daemon), start_us);
    wait(NULL);
    reader = join(NULL);
    assert_int_equal(clock_read_ms(reader), page_start_ms);
    clock_close(reader);
    script = join("script");
    clock_close(script);
    close(pipes[0]);
    close(pipes[1]);
    assert_int_equal(clock_wait(daemon, NULL, 0, start_us + 1000000, false), 0);
    assert_int_equal(clock_now_us(daemon), start_us + 1000000);
    clock_close(daemon);
}

static void a_killed_program_does_not_hold_time_for_ever(void **state) {
    struct clock *clock = join("living");
    const int64_t start_us = clock_now_us(clock);
    const pid_t child = fork();

    (void)state;
    if (child == 0) {
        struct fault fault;

        clock_open_simulated(page_path, "doomed", &fault);
        raise(SIGKILL);
    }
    waitpid(child, NULL, 0);
    assert_int_equal(clock_wait(clock, NULL, 0, start_us + 1000000, false), 0);
    assert_int_equal(clock_now_us(clock), start_us + 1000000);
    clock_close(clock);
}

static void time_stands_still_while_an_answer_is_due(void **state) {
    struct clock *clock = join("asking");
    const int64_t start_us = clock_now_us(clock);
    struct pollfd fd;
    int pipes[2];

    (void)state;
    assert_int_equal(pipe(pipes), 0);
    fd = (struct pollfd){.fd = pipes[0], .events = POLLIN};
    if (fork() == 0) { // the answer takes 50 ms of real time, the deadline is 1 ms away
        usleep(50000);
        _exit(write(pipes[1], "x", 1) == 1 ? 0 : 1);
    }
    assert_int_equal(clock_wait(clock, &fd, 1, start_us + 1000, true), 1);
    assert_int_equal(clock_now_us(clock), start_us);
    wait(NULL);
    close(pipes[0]);
    close(pipes[1]);
    clock_close(clock);
}

/* The one that is to answer is kept from running for longer than patience lasts: it has not had its turn to look.
 */
static void one_that_had_no_turn_is_waited_for(void **state) {
    enum { KEPT_US = 3 * CLOCK_PATIENCE_MS * US_PER_MS };
    struct clock *clock = join("asking");
    const int64_t start_us = clock_now_us(clock);
    struct pollfd fd;
    int question[2], answer[2];
    char byte;
    pid_t child, waker;

    (void)state;
    assert_int_equal(pipe(question), 0);
    assert_int_equal(pipe(answer), 0);
    fd = (struct pollfd){.fd = answer[0], .events = POLLIN};
    child = fork();
    if (child == 0) {
        struct fault fault;
        struct clock *own = clock_open_simulated(page_path, "answering", &fault);
        struct pollfd asked = {.fd = question[0], .events = POLLIN};

        if (write(answer[1], "!", 1) == 1 && clock_wait(own, &asked, 1, CLOCK_NEVER_US, false) == 1)
            _exit(write(answer[1], "x", 1) == 1 ? EXIT_SUCCESS : EXIT_FAILURE);
        _exit(EXIT_FAILURE);
    }
    assert_int_equal(read(answer[0], &byte, 1), 1); // it has joined
    usleep(20 * US_PER_MS);                         // ... and waits
    kill(child, SIGSTOP);
    waker = fork();
    if (waker == 0) {
        usleep(KEPT_US);
        kill(child, SIGCONT);
        _exit(0);
    }
    assert_int_equal(write(question[1], "?", 1), 1);
    assert_int_equal(clock_wait(clock, &fd, 1, start_us + US_PER_MS, true), 1);
    assert_int_equal(clock_now_us(clock), start_us);
    waitpid(child, NULL, 0);
    waitpid(waker, NULL, 0);
    for (int i = 0; i < 2; i++) {
        close(question[i]);
        close(answer[i]);
    }
    clock_close(clock);
}

static void a_step_of_the_wall_clock_is_noticed_once_and_moves_nothing(void **state) {
    struct clock *clock = join("watching");
    const int64_t start_us = clock_now_us(clock);
    struct fault fault;
    int64_t step_ms = 0;

    (void)state;
    assert_false(clock_take_step(clock, &step_ms));
    assert_int_equal(clock_step_page(clock, -3600 * MS_PER_S, &fault), 0);
    clock_wait(clock, NULL, 0, start_us + 1000, false);
    assert_true(clock_take_step(clock, &step_ms));
    assert_int_equal(step_ms, -3600 * MS_PER_S);
    assert_false(clock_take_step(clock, &step_ms));
    assert_true(clock_now_us(clock) >= start_us);
    assert_int_equal(clock_wall_ms(clock), clock_read_ms(clock) - 3600 * MS_PER_S);
    clock_close(clock);
}

static void what_is_no_page_is_refused(void **state) {
    struct fault fault = {0};

    (void)state;
    assert_null(clock_open_simulated("/nonexistent/page", "x", &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
    strcpy(page_path, "/tmp/soakledger-clock-XXXXXX");
    close(mkstemp(page_path)); // empty
    assert_null(clock_open_simulated(page_path, NULL, &fault));
    assert_int_equal(fault.status, EX_DATAERR);
    assert_non_null(strstr(fault.text, "is not a clock page"));
    unlink(page_path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(real_clock_starts_at_utc_and_runs_with_boot_time),
        cmocka_unit_test(anchoring_goes_on_with_an_earlier_timeline),
        cmocka_unit_test(real_clock_wakes_for_a_descriptor),
        cmocka_unit_test_setup_teardown(simulated_time_jumps_to_the_deadline, make_page, remove_page),
        cmocka_unit_test_setup_teardown(time_waits_for_the_slowest, make_page, remove_page),
        cmocka_unit_test_setup_teardown(a_place_left_held_stops_time_until_taken_again, make_page, remove_page),
        cmocka_unit_test_setup_teardown(a_killed_program_does_not_hold_time_for_ever, make_page, remove_page),
        cmocka_unit_test_setup_teardown(time_stands_still_while_an_answer_is_due, make_page, remove_page),
        cmocka_unit_test_setup_teardown(one_that_had_no_turn_is_waited_for, make_page, remove_page),
        cmocka_unit_test_setup_teardown(a_step_of_the_wall_clock_is_noticed_once_and_moves_nothing, make_page,
                                        remove_page),
        cmocka_unit_test(what_is_no_page_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
