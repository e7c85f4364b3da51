// SPDX-License-Identifier: MIT
/* Starting, watching and ending one process.
 *
 * fork and not posix_spawn: the latter keeps the parent until the kernel has loaded the program, and that program
 * may lie on a disk that hangs; lines are polled from this thread. Between fork and execve the child calls nothing
 * that is not async-signal-safe, because the other thread may have held any lock.
 */
#include "alert_command.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/close_range.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "soakledger/journal.h"

enum { MS_PER_S = 1000, NS_PER_MS = 1000000, FIRST_OTHER = 3, EXIT_NOT_STARTED = 127, DESCRIPTORS_TRIED = 4096 };
enum { CLOSE_TRIES = 100, CLOSE_EVERY_US = 10000 }; // a second for a killed process to go

static const char *const environment[] = {"PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
                                          "LANG=C.UTF-8", NULL};

static int64_t monotonic_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

int alert_command_open(struct alert_command *command, const char *const *words, int64_t time_limit_ms,
                       struct fault *fault) {
    size_t count = 0;

    *command = (struct alert_command){.failure = -1, .time_limit_ms = time_limit_ms};
    while (words[count] != NULL)
        count++;
    command->words = calloc(count + ALERT_ARGUMENTS + 1, sizeof *command->words);
    for (size_t i = 0; command->words != NULL && i < count; i++) {
        command->words[i] = strdup(words[i]);
        if (command->words[i] == NULL)
            break;
        command->word_count++;
    }
    if (command->word_count < count || count == 0)
        return fault_set(fault, EX_OSERR, "no memory for the alert command");
    /* Where children are ignored the kernel forgets them, and their number may soon be somebody else's. */
    signal(SIGCHLD, SIG_DFL);
    return 0;
}

/* The leader is not reaped yet, so the group's number is still its own. */
static void kill_group(const struct alert_command *command) {
    kill(-command->child, SIGKILL);
    kill(command->child, SIGKILL); // had it not come to setpgid yet
}

static void forget_child(struct alert_command *command) {
    if (command->failure >= 0)
        close(command->failure);
    command->failure = -1;
    command->child = 0;
}

void alert_command_close(struct alert_command *command) {
    if (command->child > 0) {
        int tries = 0;

        kill_group(command);
        while (waitpid(command->child, NULL, WNOHANG) == 0 && ++tries < CLOSE_TRIES)
            usleep(CLOSE_EVERY_US);
        forget_child(command);
    }
    for (size_t i = 0; i < command->word_count; i++)
        free(command->words[i]);
    free(command->words);
    *command = (struct alert_command){.failure = -1};
}

/* ---- in the child: async-signal-safe calls only ---- */

static void reset_signals(void) {
    const struct sigaction standard = {.sa_handler = SIG_DFL};
    sigset_t none;

    for (int number = 1; number < NSIG; number++)
        sigaction(number, &standard, NULL); // refused for some; those cannot be caught or ignored
    sigemptyset(&none);
    sigprocmask(SIG_SETMASK, &none, NULL);
}

/* Leaves /dev/null as 0, 1 and 2 and nothing else once the command is there. */
static int reset_descriptors(void) {
    const int null = open("/dev/null", O_RDWR);

    if (null < 0)
        return -1;
    for (int standard = 0; standard < FIRST_OTHER; standard++) {
        if (dup2(null, standard) < 0)
            return -1;
    }
    if (close_range(FIRST_OTHER, ~0U, CLOSE_RANGE_CLOEXEC) == 0)
        return 0;
    for (int other = FIRST_OTHER; other < DESCRIPTORS_TRIED; other++) // a kernel before Linux 5.11
        fcntl(other, F_SETFD, FD_CLOEXEC);
    return 0;
}

static void become_command(char *const *words, int failure) {
    int error;

    setpgid(0, 0);
    reset_signals();
    failure = fcntl(failure, F_DUPFD_CLOEXEC, FIRST_OTHER); // out of the way of 0, 1 and 2
    if (reset_descriptors() == 0)
        execve(words[0], words, (char *const *)environment);
    error = errno;
    if (write(failure, &error, sizeof error) < 0)
        _exit(EXIT_NOT_STARTED);
    _exit(EXIT_NOT_STARTED);
}

/* ---- in the daemon ---- */

int alert_command_start(struct alert_command *command, const char *const arguments[ALERT_ARGUMENTS]) {
    int ends[2];
    pid_t child;

    for (size_t i = 0; i < ALERT_ARGUMENTS; i++)
        command->words[command->word_count + i] = (char *)(uintptr_t)arguments[i];
    if (pipe2(ends, O_CLOEXEC | O_NONBLOCK) != 0)
        return -1;
    child = fork();
    if (child == 0)
        become_command(command->words, ends[1]);
    for (size_t i = 0; i < ALERT_ARGUMENTS; i++)
        command->words[command->word_count + i] = NULL;
    close(ends[1]);
    if (child < 0) {
        close(ends[0]);
        return -1;
    }
    setpgid(child, child); // whichever of the two comes first
    command->child = child;
    command->failure = ends[0];
    command->killed = false;
    command->deadline_ms = monotonic_ms() + command->time_limit_ms;
    return 0;
}

static void say_how_it_ended(const struct alert_command *command, int status) {
    const char *path = command->words[0];
    int error;

    if (read(command->failure, &error, sizeof error) == (ssize_t)sizeof error)
        journal_write(JOURNAL_ERROR, "alert command %s could not be started: %s", path, strerror(error));
    else if (command->killed)
        journal_write(JOURNAL_ERROR, "alert command %s was killed: it took longer than %lld ms", path,
                      (long long)command->time_limit_ms);
    else if (WIFSIGNALED(status))
        journal_write(JOURNAL_ERROR, "alert command %s was ended by signal %d", path, WTERMSIG(status));
    else if (WEXITSTATUS(status) != 0)
        journal_write(JOURNAL_ERROR, "alert command %s ended with status %d", path, WEXITSTATUS(status));
}

void alert_command_tend(struct alert_command *command) {
    siginfo_t ended = {0};
    int status = 0;

    if (command->child <= 0)
        return;
    if (waitid(P_PID, (id_t)command->child, &ended, WEXITED | WNOHANG | WNOWAIT) == 0 && ended.si_pid == 0) {
        if (!command->killed && monotonic_ms() >= command->deadline_ms) {
            command->killed = true;
            kill_group(command);
        }
        return;
    }
    kill_group(command); // what it left behind in its group ends with it
    waitpid(command->child, &status, WNOHANG);
    say_how_it_ended(command, status);
    forget_child(command);
}
