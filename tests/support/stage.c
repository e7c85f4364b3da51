// SPDX-License-Identifier: MIT
#include "stage.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

enum { COMMAND_BYTES = 4096, TRIES = 600, TRY_EVERY_US = 10000, COMMITTED_AFTER_US = 700000 };

static const char *build_folder(void) {
    const char *folder = getenv("SOAKLEDGER_BUILD");

    return folder != NULL ? folder : "build/gcc";
}

int stage_run(struct stage *stage, const char *command) {
    char line[COMMAND_BYTES];
    FILE *pipe;
    size_t length;
    int status;

    snprintf(line, sizeof line, "B=%s D=%s S=\"%s/soakledger -c %s\"; exec 2>&1; %s", build_folder(), stage->folder,
             build_folder(), stage->config, command);
    pipe = popen(line, "r");
    assert_non_null(pipe);
    length = fread(stage->output, 1, sizeof stage->output - 1, pipe);
    stage->output[length] = '\0';
    status = pclose(pipe);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

const char *stage_tell(struct stage *stage, const char *command) {
    const int status = stage_run(stage, command);

    if (status != 0)
        fail_msg("'%s' ended with %d:\n%s", command, status, stage->output);
    return stage->output;
}

/* Starts a program of the build with its output going to `log` in the folder. */
static pid_t start(const struct stage *stage, const char *log, char *const *arguments) {
    char path[2 * STAGE_PATH_BYTES], program[2 * STAGE_PATH_BYTES];
    const pid_t child = fork();

    assert_true(child >= 0);
    if (child == 0) {
        int file;

        snprintf(path, sizeof path, "%s/%s", stage->folder, log);
        snprintf(program, sizeof program, "%s/%s", build_folder(), arguments[0]);
        file = open(path, O_WRONLY | O_CREAT | O_APPEND, S_IRUSR | S_IWUSR);
        dup2(file, STDOUT_FILENO);
        dup2(file, STDERR_FILENO);
        execv(program, arguments);
        _exit(127);
    }
    return child;
}

static void wait_for(struct stage *stage, const char *what) {
    for (int i = 0; i < TRIES; i++) {
        if (stage_run(stage, what) == 0)
            return;
        usleep(TRY_EVERY_US);
    }
    stage_run(stage, "cat $D/*.txt");
    fail_msg("waited in vain for '%s'; the programs said:\n%s", what, stage->output);
}

void stage_open(struct stage *stage) {
    stage_open_scene(stage, "oven");
}

void stage_open_bare(struct stage *stage, const char *scene) {
    char command[COMMAND_BYTES];

    memset(stage, 0, sizeof *stage);
    strcpy(stage->folder, "/tmp/soakledger-stage-XXXXXX");
    assert_non_null(mkdtemp(stage->folder));
    snprintf(stage->config, sizeof stage->config, "%.200s/shop.conf", stage->folder);
    snprintf(stage->ledger, sizeof stage->ledger, "%.200s/shop.ledger", stage->folder);
    snprintf(command, sizeof command,
             "sed \"s|@DIR@|$D|\" tests/system/%s.conf > $D/shop.conf && cp tests/system/*.plan $D/", scene);
    stage_tell(stage, command);
}

void stage_open_scene(struct stage *stage, const char *scene) {
    char page[STAGE_PATH_BYTES + 16], log[STAGE_PATH_BYTES + 16], play[STAGE_PATH_BYTES];

    stage_open_bare(stage, scene);
    snprintf(play, sizeof play, "tests/system/%s.shop", scene);
    snprintf(page, sizeof page, "%s/clock.page", stage->folder);
    snprintf(log, sizeof log, "%s/wire.log", stage->folder);
    stage->shop = start(
        stage, "shop.txt",
        (char *[]){"shop", "--page", page, "--hold", "person", "--dir", stage->folder, "--log", log, play, NULL});
    wait_for(stage, "test -e $D/bench");
}

void stage_start_daemon(struct stage *stage) {
    stage_tell(stage, "cat $D/journal.txt 2>/dev/null | grep -c ^recording > $D/starts; true");
    stage->daemon = start(stage, "journal.txt", (char *[]){"soakledgerd", "-c", stage->config, NULL});
    wait_for(stage, "test $(grep -c ^recording $D/journal.txt) -gt $(cat $D/starts)");
}

int stage_end_daemon(struct stage *stage, int signal) {
    int status;

    usleep(COMMITTED_AFTER_US); // time stands still: nothing new is read meanwhile
    kill(stage->daemon, signal);
    assert_int_equal(waitpid(stage->daemon, &status, 0), stage->daemon);
    stage->daemon = 0;
    return status;
}

const char *stage_read_journal(struct stage *stage) {
    usleep(COMMITTED_AFTER_US);
    return stage_tell(stage, "cat $D/journal.txt");
}

void stage_play_until(struct stage *stage, const char *time) {
    char command[COMMAND_BYTES];

    snprintf(command, sizeof command, "timeout 120 $B/until $D/clock.page person '%s'", time);
    stage_tell(stage, command);
}

void stage_close(struct stage *stage) {
    if (stage->daemon > 0)
        stage_end_daemon(stage, SIGTERM);
    if (stage->shop > 0) {
        kill(stage->shop, SIGTERM);
        waitpid(stage->shop, NULL, 0);
    }
    stage_tell(stage, "rm -rf $D");
}
