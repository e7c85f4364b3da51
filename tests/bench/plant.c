// SPDX-License-Identifier: MIT
#include "plant.h"

#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "figure.h"

enum {
    MOST_LOADS = 15,
    TRIES = 300,
    MS_PER_S = 1000,
    NS_PER_MS = 1000000,
    NS_PER_S = 1000000000,
    STAT_UTIME = 14,
    KIB_PER_MIB = 1024,
};
static const double TRY_EVERY_S = 0.1;

static const char *build_folder(void) {
    const char *folder = getenv("SOAKLEDGER_BUILD");

    return folder != NULL ? folder : "build/gcc";
}

void plant_sleep_s(double seconds) {
    struct timespec pause = {.tv_sec = (time_t)seconds};

    pause.tv_nsec = (long)((seconds - (double)pause.tv_sec) * NS_PER_S);
    nanosleep(&pause, NULL);
}

int64_t plant_wall_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

static void write_line(FILE *file, const struct plant_shape *shape, const char *device, size_t line) {
    const size_t channels = shape->instruments * shape->registers;

    fprintf(file, "[line l%zu]\ndevice = %s\nkind = pseudo-terminal\nspeed = %d\nparity = none\n[oven o%zu]\n",
            line, device, shape->speed_baud, line);
    fprintf(file, "begins_on_rise = 20 C\nheats_at_most = 1000 C/min\n");
    for (size_t i = 0; i < shape->instruments; i++)
        fprintf(file, "[instrument i%zu-%zu]\nline = l%zu\naddress = %zu\n", line, i, line, i + 1);
    for (size_t c = 0; c < channels; c++) {
        const char *role = c == 0 ? "control" : c <= MOST_LOADS ? "load" : "ambient";

        fprintf(file,
                "[channel o%zu.c%zu]\nrole = %s\ninstrument = i%zu-%zu\nfunction = 3\nregister = %zu\n"
                "decimals = 1\nunit = C\ninterval = %d ms\n",
                line, c, role, line, c / shape->registers, c % shape->registers, shape->interval_ms);
    }
}

void plant_write_config(FILE *file, const struct plant_shape *shape, const struct far_end *far,
                        const char *ledger) {
    char absent[FAR_PATH_BYTES];

    fprintf(file, "[ledger]\npath = %s\n", ledger);
    for (size_t line = 0; line < shape->lines; line++) {
        snprintf(absent, sizeof absent, "/dev/pts/absent%zu", line);
        write_line(file, shape, far != NULL ? far_path(far, line) : absent, line);
    }
}

static void start_daemon(struct plant *plant) {
    char program[PLANT_PATH_BYTES], shim[PLANT_PATH_BYTES], journal[PLANT_PATH_BYTES];

    snprintf(program, sizeof program, "%s/soakledgerd", build_folder());
    snprintf(shim, sizeof shim, "%s/stall.so", build_folder());
    snprintf(journal, sizeof journal, "%s/journal.txt", plant->folder);
    plant->daemon = fork();
    if (plant->daemon == 0) {
        const int file = open(journal, O_WRONLY | O_CREAT | O_APPEND, S_IRUSR | S_IWUSR);

        prctl(PR_SET_PDEATHSIG, SIGKILL);
        dup2(file, STDERR_FILENO);
        setenv("LD_PRELOAD", shim, 1);
        setenv("BENCH_STALL_FILE", plant->stall, 1);
        execl(program, program, "-c", plant->config, (char *)NULL);
        _exit(EXIT_FAILURE);
    }
}

static void wait_until_asked(const struct plant *plant) {
    const size_t wanted = plant->shape.lines * plant->shape.instruments;

    for (int i = 0; i < TRIES; i++) {
        int status;

        if (far_count(plant->far) >= wanted)
            return;
        if (waitpid(plant->daemon, &status, WNOHANG) != 0)
            figure_give_up("the daemon ended at once; see %s/journal.txt", plant->folder);
        plant_sleep_s(TRY_EVERY_S);
    }
    figure_give_up("the daemon does not ask; see %s/journal.txt", plant->folder);
}

void plant_open(struct plant *plant, const struct plant_shape *shape) {
    char folder[PATH_MAX];
    FILE *file;

    memset(plant, 0, sizeof *plant);
    plant->shape = *shape;
    // Not under /tmp, which may be memory: the ledger belongs on a disk.
    snprintf(plant->folder, sizeof plant->folder, "%s/plant-XXXXXX", build_folder());
    if (mkdtemp(plant->folder) == NULL || realpath(plant->folder, folder) == NULL ||
        strlen(folder) >= sizeof plant->folder)
        figure_give_up("cannot make a folder in %s", build_folder());
    strcpy(plant->folder, folder); // from the root, as the configuration wants it
    snprintf(plant->config, sizeof plant->config, "%s/plant.conf", plant->folder);
    snprintf(plant->ledger, sizeof plant->ledger, "%s/plant.ledger", plant->folder);
    snprintf(plant->stall, sizeof plant->stall, "%s/stall", plant->folder);
    plant->far = far_open(shape->lines, shape->speed_baud, shape->rising);
    file = fopen(plant->config, "w");
    if (file == NULL)
        figure_give_up("cannot write %s", plant->config);
    plant_write_config(file, shape, plant->far, plant->ledger);
    fclose(file);
    start_daemon(plant);
    wait_until_asked(plant);
}

void plant_stop(struct plant *plant) {
    int status;

    kill(plant->daemon, SIGTERM);
    if (waitpid(plant->daemon, &status, 0) != plant->daemon || !WIFEXITED(status) || WEXITSTATUS(status) != 0)
        figure_give_up("the daemon did not end in order; see %s/journal.txt", plant->folder);
    plant->daemon = 0;
}

void plant_close(struct plant *plant) {
    char command[PLANT_PATH_BYTES];

    if (plant->daemon > 0)
        plant_stop(plant);
    far_close(plant->far);
    snprintf(command, sizeof command, "rm -r '%s'", plant->folder);
    if (system(command) != 0)
        figure_give_up("cannot remove %s", plant->folder);
}

/* ---- what it takes ---- */

double plant_cpu_s(const struct plant *plant) {
    char path[PLANT_PATH_BYTES], line[2 * PLANT_PATH_BYTES] = "";
    unsigned long long user = 0, system_time = 0;
    char *rest;
    FILE *file;

    snprintf(path, sizeof path, "/proc/%d/stat", (int)plant->daemon);
    file = fopen(path, "r");
    if (file == NULL || fgets(line, sizeof line, file) == NULL)
        figure_give_up("cannot read %s", path);
    fclose(file);
    rest = strrchr(line, ')'); // the second field is the name, which may hold anything
    for (int field = 2; rest != NULL && field < STAT_UTIME; field++)
        rest = strchr(rest + 1, ' ');
    if (rest != NULL) {
        user = strtoull(rest, &rest, 10);
        system_time = strtoull(rest, &rest, 10);
    }
    return (double)(user + system_time) / (double)sysconf(_SC_CLK_TCK);
}

double plant_resident_mib(const struct plant *plant) {
    char path[PLANT_PATH_BYTES], line[PLANT_PATH_BYTES];
    double kib = 0;
    FILE *file;

    snprintf(path, sizeof path, "/proc/%d/status", (int)plant->daemon);
    file = fopen(path, "r");
    if (file == NULL)
        figure_give_up("cannot read %s", path);
    while (fgets(line, sizeof line, file) != NULL) {
        if (strncmp(line, "VmHWM:", strlen("VmHWM:")) == 0)
            kib = strtod(line + strlen("VmHWM:"), NULL);
    }
    fclose(file);
    return kib / KIB_PER_MIB;
}

double plant_ask(const char *ledger, const char *sql) {
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    double answer;

    if (sqlite3_open_v2(ledger, &db, SQLITE_OPEN_READONLY, NULL) != SQLITE_OK ||
        sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK || sqlite3_step(statement) != SQLITE_ROW)
        figure_give_up("%s: %s: %s", ledger, sql, sqlite3_errmsg(db));
    answer = sqlite3_column_double(statement, 0);
    sqlite3_finalize(statement);
    sqlite3_close(db);
    return answer;
}
