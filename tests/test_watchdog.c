// SPDX-License-Identifier: MIT
/* What systemd hears from the real daemon: that it is ready, that it is alive, that it stops. Each of its two
 * threads is then halted alone, as a debugger would, and neither may pass for alive without the other. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <dirent.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ptrace.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { PATH_BYTES = 128, NEWS_BYTES = 256 };
enum { READY_MS = 20000, SETTLE_MS = 1300, SILENT_MS = 2600, BACK_MS = 8000, MS_PER_S = 1000, NS_PER_MS = 1000000 };

struct watched {
    char folder[PATH_BYTES];
    int news; // systemd's end
    pid_t daemon;
};

static const char CONFIG[] = "[ledger]\npath = %s/shop.ledger\n"
                             "[line bench]\ndevice = %s\nkind = pseudo-terminal\n"
                             "[instrument small]\nline = bench\naddress = 1\n"
                             "[oven small]\nheats_at_most = 120 C/min\n"
                             "[channel small.control]\nrole = control\ninstrument = small\nfunction = 3\n"
                             "register = 0\ndecimals = 1\nunit = C\n";

static int64_t now_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

/* A line that is there and never answers. */
static const char *open_line(void) {
    const int end = posix_openpt(O_RDWR | O_NOCTTY);

    assert_true(end >= 0 && grantpt(end) == 0 && unlockpt(end) == 0);
    return ptsname(end);
}

static void start(struct watched *watched) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    char program[PATH_BYTES], config[PATH_BYTES + 16], journal[PATH_BYTES + 16];
    FILE *file;

    snprintf(watched->folder, sizeof watched->folder, "/tmp/soakledger-watchdog-XXXXXX");
    assert_non_null(mkdtemp(watched->folder));
    snprintf(config, sizeof config, "%s/shop.conf", watched->folder);
    snprintf(journal, sizeof journal, "%s/journal", watched->folder);
    snprintf(program, sizeof program, "%s/soakledgerd", build != NULL ? build : "build/gcc");
    file = fopen(config, "w");
    assert_non_null(file);
    fprintf(file, CONFIG, watched->folder, open_line());
    fclose(file);
    watched->news = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    snprintf(address.sun_path, sizeof address.sun_path, "%.90s/notify", watched->folder);
    assert_int_equal(bind(watched->news, (struct sockaddr *)&address, sizeof address), 0);
    watched->daemon = fork();
    if (watched->daemon == 0) {
        setenv("NOTIFY_SOCKET", address.sun_path, 1);
        dup2(open(journal, O_WRONLY | O_CREAT, S_IRUSR | S_IWUSR), STDERR_FILENO);
        execl(program, "soakledgerd", "-c", config, (char *)NULL);
        _exit(EXIT_FAILURE);
    }
}

/* Counts what comes within `for_ms` and has `part` in it; returns at the first if `until_first`. */
static int hear(const struct watched *watched, const char *part, int for_ms, bool until_first) {
    const int64_t until_ms = now_ms() + for_ms;
    int count = 0;

    for (int64_t left_ms = for_ms; left_ms > 0; left_ms = until_ms - now_ms()) {
        struct pollfd news = {.fd = watched->news, .events = POLLIN};
        char text[NEWS_BYTES];
        ssize_t got;

        if (poll(&news, 1, (int)left_ms) <= 0)
            break;
        got = recv(watched->news, text, sizeof text - 1, 0);
        text[got > 0 ? got : 0] = '\0';
        if (strstr(text, part) == NULL)
            continue;
        count++;
        if (until_first)
            break;
    }
    return count;
}

static pid_t find_ledger_thread(const struct watched *watched) {
    char path[PATH_BYTES];
    pid_t found = 0;
    struct dirent *entry;
    DIR *tasks;

    snprintf(path, sizeof path, "/proc/%d/task", (int)watched->daemon);
    tasks = opendir(path);
    assert_non_null(tasks);
    while ((entry = readdir(tasks)) != NULL) {
        const pid_t task = (pid_t)strtol(entry->d_name, NULL, 10);

        if (task > 0 && task != watched->daemon)
            found = task;
    }
    closedir(tasks);
    assert_true(found > 0);
    return found;
}

static void halted_alone_it_starves(struct watched *watched, pid_t thread) {
    int status;

    assert_true(hear(watched, "WATCHDOG=1", BACK_MS, true) > 0);
    if (ptrace(PTRACE_SEIZE, thread, NULL, NULL) != 0)
        skip(); // a sandbox without debuggers
    assert_int_equal(ptrace(PTRACE_INTERRUPT, thread, NULL, NULL), 0);
    assert_int_equal(waitpid(thread, &status, __WALL), thread);
    hear(watched, "", SETTLE_MS, false); // one may have been earned before
    assert_int_equal(hear(watched, "WATCHDOG=1", SILENT_MS, false), 0);
    assert_int_equal(ptrace(PTRACE_DETACH, thread, NULL, NULL), 0);
    assert_true(hear(watched, "WATCHDOG=1", BACK_MS, true) > 0);
}

static void the_lines_thread_alone_starves_it(void **state) {
    struct watched *watched = *state;

    halted_alone_it_starves(watched, watched->daemon);
}

static void the_ledger_thread_alone_starves_it(void **state) {
    struct watched *watched = *state;

    halted_alone_it_starves(watched, find_ledger_thread(watched));
}

static void it_is_fed_once_a_second(void **state) {
    struct watched *watched = *state;
    const int fed = hear(watched, "WATCHDOG=1", SILENT_MS, false);

    assert_in_range(fed, 1, 3);
}

static int begin(void **state) {
    struct watched *watched = calloc(1, sizeof *watched);

    start(watched);
    *state = watched;
    return hear(watched, "READY=1", READY_MS, true) == 1 ? 0 : -1;
}

static int end(void **state) {
    struct watched *watched = *state;
    char line[2 * PATH_BYTES];
    int status, heard;

    kill(watched->daemon, SIGTERM);
    heard = hear(watched, "STOPPING=1", READY_MS, true);
    waitpid(watched->daemon, &status, 0);
    close(watched->news);
    snprintf(line, sizeof line, "rm -rf %s", watched->folder);
    if (system(line) != 0 || heard != 1 || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
        return -1;
    free(watched);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_is_fed_once_a_second),
        cmocka_unit_test(the_lines_thread_alone_starves_it),
        cmocka_unit_test(the_ledger_thread_alone_starves_it),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
