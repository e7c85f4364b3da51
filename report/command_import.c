// SPDX-License-Identifier: MIT
/* import: what another recorder wrote becomes a run that says so. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "command.h"
#include "import_parts.h"
#include "soakledger/words.h"

static const char USAGE[] = "import FILE --as DESCRIPTION [--by NAME]";

static char *command_slurp(const struct command *command, const char *path, size_t *length, struct fault *fault) {
    FILE *file = command_open_input(command, path);
    struct stat status;
    char *text = NULL;

    if (file == NULL || fstat(fileno(file), &status) != 0) {
        fault_set_errno(fault, EX_NOINPUT, "%s: cannot read it", path);
    } else if (!S_ISREG(status.st_mode) || status.st_size > IMPORT_BYTES_MOST) {
        fault_set(fault, EX_DATAERR, "%s: expected a file of at most %d MiB", path, IMPORT_BYTES_MOST >> 20);
    } else if ((text = malloc((size_t)status.st_size + 1)) == NULL) {
        fault_set(fault, EX_OSERR, "%s: not enough memory", path);
    } else {
        *length = fread(text, 1, (size_t)status.st_size, file);
        if (ferror(file) != 0 || *length != (size_t)status.st_size) {
            fault_set_errno(fault, EX_IOERR, "%s: cannot read all of it", path);
            free(text);
            text = NULL;
        }
    }
    if (file != NULL)
        fclose(file);
    return text;
}

static int command_write_import(struct command *command, struct import *import, struct import_description *d,
                                struct import_data *data, struct fault *fault) {
    size_t length;
    const char *description = keyfile_text(d->file, &length);

    if (import_open(command->ledger, import, description, length, fault) != 0)
        return -1;
    for (size_t i = 0; i < d->column_count; i++) {
        d->columns[i].channel_id = import_add_channel(command->ledger, import, &d->columns[i].channel, fault);
        if (d->columns[i].channel_id < 0)
            return -1;
    }
    for (size_t i = 0; i < data->count; i++) {
        struct reading reading = data->readings[i];

        reading.channel_id = d->columns[reading.channel_id].channel_id;
        if (import_add_reading(command->ledger, import, &reading, fault) != 0)
            return -1;
    }
    return import_complete(command->ledger, import, fault);
}

/* The same file twice would be evidence of two runs. */
static int command_check_twice(struct command *command, const struct import *import, struct fault *fault) {
    size_t count = 0;
    struct ledger_run *runs = ledger_list_runs(command->ledger, import->begun_ms, import->begun_ms, &count, fault);
    int result = runs == NULL ? -1 : 0;

    for (size_t i = 0; result == 0 && i < count; i++) {
        struct import *other = NULL;

        if (runs[i].end != RUN_END_IMPORTED)
            continue;
        result = import_find(command->ledger, runs[i].run_id, &other, fault) < 0 ? -1 : 0;
        if (other != NULL && strcmp(other->file_sha256, import->file_sha256) == 0 &&
            other->oven_id == import->oven_id)
            result = fault_set(fault, EX_DATAERR, "%s: was imported already: it is run %lld", import->file_name,
                               (long long)runs[i].run_id);
        import_free(other);
    }
    free(runs);
    return result;
}

static int command_store(struct command *command, struct import *import, struct import_description *d,
                         struct import_data *data, struct fault *fault) {
    if (ledger_begin(command->ledger, fault) != 0)
        return -1;
    import->oven_id = ledger_find_oven(command->ledger, d->oven, fault);
    if (import->oven_id == 0)
        fault_set(fault, EX_NOINPUT,
                  "%s: the ledger knows no oven '%.60s': expected one that soakledgerd has recorded",
                  keyfile_name(d->file), d->oven);
    if (import->oven_id > 0 && command_check_twice(command, import, fault) == 0 &&
        command_write_import(command, import, d, data, fault) == 0 && ledger_commit(command->ledger, fault) == 0)
        return 0;
    ledger_roll_back(command->ledger);
    return -1;
}

static void command_report_import(struct command *command, const struct import *import,
                                  const struct import_data *data) {
    char line[COMMAND_TEXT_BYTES * 2], time[COMMAND_TEXT_BYTES], length[QUANTITY_TEXT_BYTES];

    snprintf(line, sizeof line, "Run %lld was imported: %zu readings from %s on, over %s.",
             (long long)import->run_id, data->count, command_time(command, import->begun_ms, time),
             quantity_format_duration(import->ended_ms - import->begun_ms, length));
    command_print(command->out, 2, line);
    snprintf(line, sizeof line,
             "If it is a batch's: soakledger claim %lld BATCH. Sheets will say that it was imported.",
             (long long)import->run_id);
    command_print(command->out, 2, line);
}

static int command_import_file(struct command *command, struct import_description *d, const char *path,
                               const char *by, struct fault *fault) {
    const char *slash = strrchr(path, '/');
    struct import import = {.source = (char *)(uintptr_t)d->source, .imported_by = (char *)(uintptr_t)by};
    struct import_data data = {0};
    size_t length = 0;
    char *text = command_slurp(command, path, &length, fault);
    int result = -1;

    import.file_name = (char *)(uintptr_t)(slash != NULL ? slash + 1 : path);
    if (text == NULL || import_read_data(d, text, length, path, &data, fault) != 0) {
        free(text);
        return -1;
    }
    ledger_sha256(text, length, import.file_sha256);
    free(text);
    import.begun_ms = data.begun_ms;
    import.ended_ms = data.ended_ms;
    if (command_open_ledger(command, LEDGER_BOOKKEEP, fault) == 0) {
        import.imported_ms = command_now_ms(command, fault);
        if (import.imported_ms >= 0 && import.imported_ms < import.ended_ms)
            fault_set(fault, EX_DATAERR,
                      "%s: its last reading lies in the future: expected times in the past; does "
                      "the description have the right time_zone?",
                      path);
        else if (import.imported_ms >= 0)
            result = command_store(command, &import, d, &data, fault);
    }
    if (result == 0)
        command_report_import(command, &import, &data);
    import_free_data(&data);
    return result;
}

int command_import(struct command *command, int argc, char **argv, struct fault *fault) {
    const char *path = NULL, *as = NULL, *by = NULL;
    const struct command_option options[] = {{"--as", &as}, {"--by", &by}};
    struct import_description *d;
    int result;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &path, 1, 1, USAGE, fault) < 0)
        return -1;
    if (as == NULL)
        return fault_set(fault, EX_USAGE, "--as is missing, which says what the columns are: expected '%s'", USAGE);
    d = import_read_description(command_read_keyfile(command, as, fault), fault);
    if (d == NULL)
        return -1;
    result = command_import_file(command, d, path, command_person(command, by), fault);
    import_free_description(d);
    return result;
}
