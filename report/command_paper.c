// SPDX-License-Identifier: MIT
/* verify CERT.pdf: what somebody does who has only the paper. It needs no configuration and no ledger. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "command.h"
#include "soakledger/recheck.h"
#include "soakledger/version.h"
#include "soakledger/words.h"

enum { LINE_BYTES = 1024, SIGNATURE_MOST_BYTES = 4096 };
static const char USAGE[] = "verify CERT.pdf [--key FILE] [--signature FILE]";
static const char PROGRAM[] = "soakledger " SOAKLEDGER_VERSION;

struct command_paper {
    const char *path, *key_path, *signature_path;
    unsigned char *bytes;
    size_t length;
    bool has_key;
    struct key_public key;
    struct recheck check;
};

bool command_is_paper(int argc, char **argv) {
    static const char end[] = ".pdf";

    for (int i = 0; i < argc; i++) {
        const size_t length = strlen(argv[i]);

        if (argv[i][0] != '-' && length > strlen(end) && strcasecmp(argv[i] + length - strlen(end), end) == 0)
            return true;
    }
    return false;
}

/* A file as a whole, up to `most` bytes. The caller frees; NULL with a fault. */
static unsigned char *command_load(const char *path, size_t most, size_t *length, struct fault *fault) {
    const int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    unsigned char *bytes = NULL;
    struct stat status;
    ssize_t got = 0;

    *length = 0;
    if (fd < 0) {
        fault_set_errno(fault, errno == EACCES ? EX_NOPERM : EX_NOINPUT, "%s: cannot open", path);
        return NULL;
    }
    if (fstat(fd, &status) != 0 || !S_ISREG(status.st_mode))
        fault_set(fault, EX_NOINPUT, "%s: expected a file", path);
    else if (status.st_size > (off_t)most)
        fault_set(fault, EX_DATAERR, "%s: more than %zu bytes", path, most);
    else if ((bytes = malloc((size_t)status.st_size + 1)) == NULL)
        fault_set(fault, EX_OSERR, "%s: not enough memory", path);
    while (bytes != NULL && *length < (size_t)status.st_size &&
           (got = read(fd, bytes + *length, (size_t)status.st_size - *length)) > 0)
        *length += (size_t)got;
    if (got < 0) {
        fault_set_errno(fault, EX_IOERR, "%s: cannot read", path);
        free(bytes);
        bytes = NULL;
    }
    close(fd);
    return bytes;
}

/* "  signature   words that may go over the line's end" */
static void command_say(struct command *command, const char *name, const char *text) {
    static const size_t widths[] = {13, 2 * KEY_DIGEST_BYTES}; // a fingerprint stands on one line
    char indented[LINE_BYTES];
    const char *const cells[] = {indented, text};

    snprintf(indented, sizeof indented, "%s%s", name[0] != '\0' ? "  " : "", name);
    command_print_row(command->out, widths, cells, sizeof widths / sizeof widths[0]);
}

/* ---- signatures ---- */

static int command_say_signer(struct command *command, const struct command_paper *paper, struct fault *fault) {
    const struct key_signer *signer = &paper->check.signer;
    char line[LINE_BYTES];
    const char *own =
        paper->key.kind == KEY_OF_PDF_CERTIFICATE ? signer->certificate_sha256 : signer->public_sha256;

    snprintf(line, sizeof line, "holds: nothing was altered since \"%s\" signed it", signer->name);
    command_say(command, "signature", line);
    if (paper->has_key && paper->key.kind != KEY_OF_FILE) {
        if (strcmp(own, paper->key.sha256) != 0)
            return fault_set(fault, EX_DATAERR, "%s: signed by another key than that of %s", paper->path,
                             paper->key_path);
        command_say(command, "", "by the key that was given");
        return 0;
    }
    snprintf(line, sizeof line,
             "by the certificate in the file itself. Compare its SHA-256 with what the shop tells you, or give "
             "--key: %s",
             signer->certificate_sha256);
    command_say(command, "", line);
    return 0;
}

static int command_check_inside(struct command *command, const struct command_paper *paper, struct fault *fault) {
    switch (paper->check.signature) {
    case RECHECK_HOLDS: return command_say_signer(command, paper, fault);
    case RECHECK_BROKEN:
        command_say(command, "signature", "DOES NOT HOLD");
        return fault_set(fault, EX_DATAERR, "%s: %s", paper->path, paper->check.broken.text);
    case RECHECK_NOT_SIGNED: break;
    }
    command_say(command, "signature", "none in the file");
    return fault_set(fault, EX_DATAERR, "%s: not signed: nothing shows whether it was altered", paper->path);
}

/* The signature beside the file, if the key is one for it. */
static int command_check_beside(struct command *command, const struct command_paper *paper, struct fault *fault) {
    struct fault why = {0, ""};
    unsigned char *signature;
    const char *beside = paper->signature_path != NULL ? paper->signature_path : paper->path;
    const size_t path_bytes = strlen(beside) + sizeof ".sig";
    char *path;
    size_t length = 0;
    int result;

    if (!paper->has_key || paper->key.kind != KEY_OF_FILE)
        return paper->signature_path == NULL
                   ? 0
                   : fault_set(fault, EX_USAGE, "--signature needs --key with the shop's public key (shop.pub)");
    path = malloc(path_bytes);
    if (path == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory");
    snprintf(path, path_bytes, "%s%s", beside, paper->signature_path != NULL ? "" : ".sig");
    signature = command_load(path, SIGNATURE_MOST_BYTES, &length, fault);
    result = signature == NULL ? -1 : key_check(&paper->key, paper->bytes, paper->length, signature, length, &why);
    if (signature != NULL)
        command_say(command, "beside it", result == 0 ? "holds, by the key that was given" : "DOES NOT HOLD");
    if (signature != NULL && result != 0)
        fault_set(fault, EX_DATAERR, "%s: %s", path, why.text);
    free(signature);
    free(path);
    return result;
}

/* ---- the rest ---- */

static void command_say_paper(struct command *command, const struct recheck *check) {
    char line[LINE_BYTES], when[QUANTITY_TEXT_BYTES];

    snprintf(line, sizeof line, "No. %lld, revision %lld, for batch %lld%s%s", (long long)check->number,
             (long long)check->revision, (long long)check->batch, check->shop[0] != '\0' ? ", by " : "",
             check->shop);
    command_say(command, "certificate", line);
    snprintf(line, sizeof line, "%s UTC, with %s", quantity_format_time(check->issued_ms, 0, when), check->program);
    command_say(command, "issued", line);
}

static int command_check_judged(struct command *command, const struct command_paper *paper, struct fault *fault) {
    const struct recheck *check = &paper->check;
    const size_t count = json_array_size(check->differences);
    char line[LINE_BYTES];

    snprintf(line, sizeof line, "%lld in %zu %s, judged anew by the attached plan", (long long)check->readings,
             check->runs, check->runs == 1 ? "run" : "runs");
    command_say(command, "readings", line);
    if (check->imported_runs > 0) {
        snprintf(line, sizeof line, "%zu of these runs %s IMPORTED: the shop's recorder did not take the readings",
                 check->imported_runs, check->imported_runs == 1 ? "was" : "were");
        command_say(command, "", line);
    }
    for (size_t i = 0; i < count; i++)
        command_say(command, i == 0 ? "differs" : "",
                    command_clean(json_string_value(json_array_get(check->differences, i)), line));
    if (count > 0)
        return fault_set(fault, EX_DATAERR,
                         "%s: what it says does not follow from what is attached to it (%s; this is %s)",
                         paper->path, check->program, PROGRAM);
    snprintf(line, sizeof line, "all %zu follow from them", check->verdicts);
    command_say(command, "verdicts", line);
    command_say(command, "outcome", judge_outcome_name(check->outcome));
    return 0;
}

static int command_check_paper(struct command *command, struct command_paper *paper, struct fault *fault) {
    struct fault why = {0, ""}, judged = {0, ""};
    int inside, beside, followed;

    if (recheck_certificate(paper->bytes, paper->length, &paper->check, &why) != 0 &&
        paper->check.signature == RECHECK_NOT_SIGNED)
        return fault_set(fault, why.status, "%s: %s", paper->path, why.text);
    command_say_path(command, paper->path, "");
    if (why.status == 0)
        command_say_paper(command, &paper->check);
    inside = command_check_inside(command, paper, fault);
    beside = command_check_beside(command, paper, inside == 0 ? fault : &judged);
    if (why.status != 0)
        return inside != 0 || beside != 0 ? -1 : fault_set(fault, why.status, "%s: %s", paper->path, why.text);
    followed = command_check_judged(command, paper, inside == 0 && beside == 0 ? fault : &judged);
    return inside == 0 && beside == 0 && followed == 0 ? 0 : -1;
}

int command_verify_paper(struct command *command, int argc, char **argv, struct fault *fault) {
    struct command_paper paper = {0};
    const struct command_option options[] = {{"--key", &paper.key_path}, {"--signature", &paper.signature_path}};
    unsigned char *bytes;
    int result = -1;

    if (command_take(argc, argv, options, sizeof options / sizeof options[0], &paper.path, 1, 1, USAGE, fault) < 0)
        return -1;
    if (paper.key_path != NULL && key_read_public(paper.key_path, &paper.key, fault) != 0)
        return -1;
    paper.has_key = paper.key_path != NULL;
    bytes = command_load(paper.path, RECHECK_MOST_FILE_BYTES, &paper.length, fault);
    paper.bytes = bytes;
    if (bytes != NULL)
        result = command_check_paper(command, &paper, fault);
    recheck_release(&paper.check);
    key_free_public(&paper.key);
    free(bytes);
    return result;
}
