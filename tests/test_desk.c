// SPDX-License-Identifier: MIT
/* Books kept for users who may not write the ledger. Run by root, the tests play three accounts, none of which has
 * to exist: the owner of the ledger, a member of its group, and somebody else. Run by anybody else, all three are
 * that user, and only what needs no second account is looked at. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "soakledger/desk.h"
#include "soakledger/seal.h"
#include "support/ledger_fixture.h"

enum { OWNER = 64001, MEMBER = 64002, OUTSIDER = 64003 }; // the owner's group has the owner's number
enum { PATH_BYTES = 256, LINE_BYTES = 2048, OUTPUT_BYTES = 65536, FAILED_TO_START = 126, TOO_LONG_S = 60 };
enum { HEAD = 8, BIG = 100000 };

#define MIN INT64_C(60000)

struct room {
    struct ledger_fixture fixture;
    char folder[PATH_BYTES]; // for everybody: the command, the socket, the configuration, the member's folder
    char output[OUTPUT_BYTES];
    pid_t service;
    bool several; // accounts
};

/* ---- accounts ---- */

static void become(const struct room *room, uid_t user) {
    const gid_t shared = OWNER;

    if (!room->several)
        return;
    if (setgroups(user == MEMBER ? 1 : 0, &shared) != 0 || setgid(user) != 0 || setuid(user) != 0)
        _exit(FAILED_TO_START);
}

typedef void in_child(struct room *room, const char *text);

static void in_shell(struct room *room, const char *line) {
    (void)room;
    execl("/bin/sh", "sh", "-c", line, (char *)NULL);
}

/* Runs `child` as that user; $S is the command, $F the shared folder, $D the ledger's. Its exit status; both its
 * outputs are in room->output. */
static int run(struct room *room, uid_t user, in_child *child, const char *text) {
    size_t used = 0;
    ssize_t got;
    int ends[2], status;
    pid_t pid;

    assert_int_equal(pipe(ends), 0);
    fflush(NULL);
    pid = fork();
    if (pid == 0) {
        dup2(ends[1], STDOUT_FILENO);
        dup2(ends[1], STDERR_FILENO);
        close(ends[0]);
        close(ends[1]);
        alarm(TOO_LONG_S);
        become(room, user);
        child(room, text);
        fflush(NULL);
        _exit(0);
    }
    close(ends[1]);
    while ((got = read(ends[0], room->output + used, sizeof room->output - 1 - used)) > 0)
        used += (size_t)got;
    room->output[used] = '\0';
    close(ends[0]);
    assert_int_equal(waitpid(pid, &status, 0), pid);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/* A shell line, its exit status, and a part of what it says. */
static void expect(struct room *room, uid_t user, int status, const char *line, const char *part) {
    const int got = run(room, user, in_shell, line);

    if (got != status || strstr(room->output, part) == NULL)
        fail_msg("%s\n ended with %d, expected %d and '%s':\n%s", line, got, status, part, room->output);
}

/* ---- the service, as systemd starts it ---- */

static void serve(struct room *room, int listener) {
    char command[PATH_BYTES + 16], config[PATH_BYTES + 16], journal[PATH_BYTES + 16];
    int log;

    snprintf(command, sizeof command, "%s/soakledger", room->folder);
    snprintf(config, sizeof config, "%s/shop.conf", room->folder);
    snprintf(journal, sizeof journal, "%s/journal", room->folder);
    log = open(journal, O_WRONLY | O_CREAT | O_APPEND, S_IRUSR | S_IWUSR | S_IRGRP | S_IROTH);
    signal(SIGCHLD, SIG_IGN);
    for (;;) {
        const int call = accept(listener, NULL, NULL);

        if (call >= 0 && fork() == 0) {
            close(listener);
            become(room, OWNER);
            umask(S_IWGRP | S_IRWXO);
            dup2(call, STDIN_FILENO);
            dup2(log, STDOUT_FILENO);
            dup2(log, STDERR_FILENO);
            close(call);
            execl(command, "soakledger", "-c", config, "desk", (char *)NULL);
            _exit(FAILED_TO_START);
        }
        close(call);
    }
}

static void open_for_calls(struct room *room) {
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int listener = socket(AF_UNIX, SOCK_SEQPACKET, 0);

    snprintf(address.sun_path, sizeof address.sun_path, "%.80s/books", room->folder);
    assert_int_equal(bind(listener, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(chmod(address.sun_path, S_IRUSR | S_IWUSR | S_IRGRP | S_IWGRP), 0);
    if (room->several)
        assert_int_equal(chown(address.sun_path, OWNER, OWNER), 0);
    assert_int_equal(listen(listener, SOMAXCONN), 0);
    setenv("SOAKLEDGER_BOOKS", address.sun_path, 1);
    fflush(NULL);
    room->service = fork();
    if (room->service == 0)
        serve(room, listener);
    close(listener);
}

/* ---- the room ---- */

static const char SHOP[] = "name = Toolroom, plane irons and chisels\naddress = Bench 3\nutc_offset = +01:00\n"
                           "key = /nonexistent\n";

static void set_names(const struct room *room) {
    const char *build = getenv("SOAKLEDGER_BUILD");
    char words[2 * PATH_BYTES];

    setenv("F", room->folder, 1);
    setenv("D", room->fixture.folder, 1);
    setenv("B", build != NULL ? build : "build/gcc", 1);
    snprintf(words, sizeof words, "%.200s/soakledger -c %.200s/shop.conf", room->folder, room->folder);
    setenv("S", words, 1);
}

static int begin(void **state) {
    struct room *room = calloc(1, sizeof *room);
    const struct fixture_run shape = {.begun_ms = FIXTURE_START_MS + 60 * MIN,
                                      .start_mc = 190000,
                                      .top_mc = 808000,
                                      .end_mc = 600000,
                                      .rise_mc_per_h = 420000,
                                      .fall_mc_per_h = 900000,
                                      .level_ms = 20 * MIN};
    const uid_t self = geteuid();
    struct fault fault;
    int64_t run_id;

    room->several = self == 0;
    fixture_make(&room->fixture, SHOP, false);
    run_id = fixture_record(&room->fixture, &shape);
    assert_int_equal(ledger_begin(room->fixture.ledger, &fault), 0);
    assert_int_equal(seal_run(room->fixture.ledger, run_id, SEAL_RUN, MIN, fixture_end_ms(&shape), NULL, &fault),
                     0);
    assert_int_equal(ledger_commit(room->fixture.ledger, &fault), 0);
    snprintf(room->folder, sizeof room->folder, "/tmp/soakledger-desk-XXXXXX");
    assert_non_null(mkdtemp(room->folder));
    set_names(room);
    expect(room, self, 0,
           "cp $B/soakledger $F && sed \"s:/nonexistent:$D/shop.key:\" $D/shop.conf >$F/shop.conf &&"
           " mkdir $F/home && chmod 755 $F && chmod 750 $D && $S key make",
           "SHA-256");
    if (room->several)
        expect(room, self, 0,
               "chown -R 64001:64001 $D && chown 64002:64002 $F/home && chmod 700 $F/home &&"
               " cd $D && ls -l shop.ledger",
               "-rw-r-----");
    open_for_calls(room);
    *state = room;
    return 0;
}

static int end(void **state) {
    struct room *room = *state;

    kill(room->service, SIGKILL);
    waitpid(room->service, NULL, 0);
    expect(room, geteuid(), 0, "rm -rf $F", "");
    fixture_remove(&room->fixture);
    free(room);
    return 0;
}

static void needs_accounts(const struct room *room) {
    if (!room->several)
        skip();
}

/* What must never change, as text. */
static const char READINGS[] = "sqlite3 $D/shop.ledger '.dump reading run verdict judgement finding session event'"
                               " | sha256sum >$F/now && { test -e $F/then || cp $F/now $F/then; } &&"
                               " cmp $F/now $F/then && $S verify";

static void readings_are_as_they_were(struct room *room) {
    expect(room, geteuid(), 0, READINGS, "");
}

static void write_plan(struct room *room) {
    fixture_write_plan(&room->fixture, FIXTURE_PLAN_HARDEN);
    expect(room, geteuid(), 0,
           "cp $D/shop.plan $F/home/own.plan && chmod 600 $F/home/own.plan $D/shop.plan &&"
           " { test $(id -u) -ne 0 || chown 64002:64002 $F/home/own.plan; }",
           "");
}

/* ---- what a member may do ---- */

static void a_member_reads_while_it_is_recorded_and_after(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, MEMBER, 0, "$S runs && $S batch list", "hardening");
    ledger_close(room->fixture.ledger); // nobody has it open any more: the log and its index lie there
    room->fixture.ledger = NULL;
    expect(room, MEMBER, 0, "$S runs && $S export run 1 -o $F/home/run.csv && ls $F/home", "run.csv");
    expect(room, OUTSIDER, EX_NOPERM, "$S runs", "cannot");
    readings_are_as_they_were(room);
}

static void a_member_keeps_books(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    write_plan(room);
    expect(room, MEMBER, 0,
           "cd $F/home && $S batch open --plan own.plan --charge '3 scraper blades' --oven hardening", "Batch 1");
    expect(room, MEMBER, 0, "$S claim 1 1", "Run 1 belongs to batch 1 now");
    expect(room, MEMBER, 0, "$S disposition 1 accept --reason 'as asked' --by Somebody", "");
    expect(room, MEMBER, 0,
           "sqlite3 -readonly $D/shop.ledger 'SELECT claimed_by FROM claim; SELECT said_by FROM disposition'",
           "user 64002\nSomebody\n");
    expect(room, MEMBER, 0, "sqlite3 -readonly $D/shop.ledger 'SELECT user, words FROM caller ORDER BY caller_id'",
           "64002|batch open --plan own.plan --charge 3 scraper blades --oven hardening\n64002|claim 1 1\n"
           "64002|disposition 1 accept --reason as asked --by Somebody\n");
    readings_are_as_they_were(room);
}

static void a_member_gets_a_signed_certificate(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, MEMBER, 0,
           "cd $F/home && $S certificate 1 2>&1 && ls -ln && $S key public -o shop.pub && $S key certificate"
           " -o shop.crt && $S verify soakledger-batch-1.pdf --key shop.pub && $S verify soakledger-batch-1.pdf"
           " --key shop.crt",
           "64002");
    expect(room, MEMBER, 0, "cd $F/home && $S certificate 1 --why 'once more' -o second.pdf && ls second.pdf.sig",
           "second.pdf.sig");
    expect(room, MEMBER, 0, "ls $F/home | grep -c '\\.pdf'", "4\n"); // nothing under a temporary name
    expect(room, MEMBER, EX_USAGE, "cd $F/home && $S certificate 1 -o third.pdf", "expected --why");
    expect(room, MEMBER, 2, "ls $F/home/third.pdf*", "No such file");
    readings_are_as_they_were(room);
}

static void faults_are_the_same_as_at_home(void **state) {
    struct room *room = *state;
    static const char *const lines[] = {"batch open --plan none.plan --charge x --oven hardening",
                                        "batch open --plan bad.plan --charge x --oven hardening",
                                        "batch open --charge x",
                                        "claim 99 1",
                                        "hardness 1 x HRC",
                                        "batch close 77",
                                        "sensor correct K-114 bad.plan",
                                        "import none.csv --as bad.plan",
                                        "certificate 1 --why x -o /proc/none.pdf"};

    needs_accounts(room);
    expect(room, geteuid(), 0, "cd $F/home && echo '[plan' >bad.plan && chmod 644 bad.plan", "");
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        char line[LINE_BYTES], at_home[OUTPUT_BYTES];
        int status;

        snprintf(line, sizeof line, "cd $F/home && $S %s", lines[i]);
        status = run(room, geteuid(), in_shell, line);
        if (status == 0)
            fail_msg("%s: expected a fault", lines[i]);
        memcpy(at_home, room->output, sizeof at_home);
        expect(room, MEMBER, status, line, at_home);
        assert_string_equal(room->output, at_home);
    }
    readings_are_as_they_were(room);
}

/* ---- what a member may not do ---- */

static void the_file_system_refuses_a_member(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, MEMBER, 8, "sqlite3 $D/shop.ledger 'UPDATE reading SET value = 0' 2>&1", "readonly");
    expect(room, MEMBER, 8, "sqlite3 $D/shop.ledger \"INSERT INTO event VALUES (NULL, 0, 1, 0, '')\" 2>&1",
           "readonly");
    expect(room, MEMBER, 2, ": >$D/shop.ledger-wal", "denied");
    expect(room, MEMBER, 1, "rm -f $D/shop.ledger 2>&1", "denied");
    expect(room, MEMBER, 1, "cat $D/shop.key 2>&1", "denied");
    readings_are_as_they_were(room);
}

/* The service can be used for nothing that the caller could not do. */
static void files_are_opened_with_the_callers_rights(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    write_plan(room);
    expect(room, MEMBER, EX_NOINPUT, "$S batch open --plan $D/shop.plan --charge x --oven hardening",
           "cannot be opened: Permission denied");
    expect(room, MEMBER, EX_CANTCREAT, "$S certificate 1 --why x -o $D/there.pdf", "cannot make a file");
    expect(room, MEMBER, EX_CANTCREAT, "$S certificate 1 --why x -o $D/shop.ledger", "cannot make a file");
    expect(room, geteuid(), 0, "ls $D | wc -l", "");
    expect(room, geteuid(), 2, "ls $D/there.pdf*", "No such file");
    expect(room, MEMBER, EX_IOERR, "$S claim 1 none >/dev/full", "cannot write");
    expect(room, MEMBER, 0, "$S claim 1 1 | cat", "");
    readings_are_as_they_were(room);
}

static void outside_the_group_there_is_nothing(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, OUTSIDER, EX_NOPERM, "$S batch close 1", "expected a member of the socket's group");
    expect(room, OUTSIDER, EX_NOPERM, "$S batch list", "cannot");
    readings_are_as_they_were(room);
}

static void another_ledger_is_refused(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, geteuid(), 0,
           "cp $D/shop.ledger $D/other.ledger && chown 64001:64001 $D/other.ledger && chmod 640 $D/other.ledger &&"
           " sed 's:shop.ledger:other.ledger:' $F/shop.conf >$F/home/other.conf && chmod 644 $F/home/other.conf",
           "");
    expect(room, MEMBER, EX_CONFIG, "$F/soakledger -c $F/home/other.conf batch close 1", "not the ledger of this");
}

/* ---- hostile callers ---- */

static int connect_to_service(void) {
    struct fault fault;
    const int socket = desk_connect(getenv("SOAKLEDGER_BOOKS"), &fault);

    if (socket < 0) {
        puts(fault.text);
        fflush(NULL);
        _exit(FAILED_TO_START);
    }
    return socket;
}

static void print_answer(int socket) {
    static struct desk_message message;
    struct fault fault;

    if (desk_receive(socket, &message, &fault) != 0)
        puts(fault.text);
    else
        printf("kind %d, status %d: %s\n", (int)message.kind, message.status, message.text);
}

/* `text` has '|' for zero bytes. */
static size_t with_zeros(const char *text, char *out) {
    const size_t length = strlen(text);

    for (size_t i = 0; i < length; i++)
        out[i] = (char)(text[i] == '|' ? '\0' : text[i]);
    return length;
}

static void call_with(struct room *room, const char *text) {
    char words[LINE_BYTES];
    const int socket = connect_to_service(), fds[DESK_MOST_FDS] = {0, 1, 2};
    struct fault fault;

    (void)room;
    desk_send(socket, DESK_BEGIN, 0, words, with_zeros(text, words), fds, DESK_MOST_FDS, &fault);
    print_answer(socket);
}

static void call_without_descriptors(struct room *room, const char *text) {
    char words[LINE_BYTES];
    const int socket = connect_to_service();
    struct fault fault;

    (void)room;
    desk_send(socket, DESK_BEGIN, 0, words, with_zeros(text, words), NULL, 0, &fault);
    print_answer(socket);
}

static void call_with_bytes(struct room *room, const char *text) {
    char bytes[LINE_BYTES];
    const int socket = connect_to_service();

    (void)room;
    send(socket, bytes, with_zeros(text, bytes), MSG_NOSIGNAL);
    print_answer(socket);
}

static void call_with_much(struct room *room, const char *text) {
    const int socket = connect_to_service();
    char *bytes = malloc(BIG);

    (void)room, (void)text;
    memset(bytes, 'x', BIG);
    memcpy(bytes, "sld\1\1\0\0\0", HEAD);
    send(socket, bytes, BIG, MSG_NOSIGNAL);
    print_answer(socket);
    free(bytes);
}

static void expect_of(struct room *room, in_child *child, const char *text, const char *part) {
    run(room, MEMBER, child, text);
    if (strstr(room->output, part) == NULL)
        fail_msg("'%s': expected '%s', got\n%s", text, part, room->output);
}

static void what_is_no_call_is_refused(void **state) {
    struct room *room = *state;
    char ledger[LINE_BYTES];
    static const char *const others[] = {"key|make|",
                                         "backup|restore|/tmp/x|",
                                         "sensor|list|",
                                         "check|list|",
                                         "now|",
                                         "desk|",
                                         "-c|/tmp/x|batch|close|1|",
                                         "batch|",
                                         "batch|list|",
                                         "|",
                                         "help|",
                                         "verify|",
                                         "probe|/dev/ttyS0|",
                                         "ports|",
                                         "export|run|1|",
                                         "BATCH|open|"};

    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        snprintf(ledger, sizeof ledger, "%.200s|%s", room->fixture.ledger_path, others[i]);
        expect_of(room, call_with, ledger, "kind 7, status 77: ");
        assert_non_null(strstr(room->output, "keeps books and does nothing else"));
    }
    snprintf(ledger, sizeof ledger, "%.200s|batch|close|1|", room->fixture.ledger_path);
    expect_of(room, call_without_descriptors, ledger, "kind 7, status 76: a call begins with its words");
    expect_of(room, call_with, "batch", "kind 7, status 76: a call begins with its words");
    expect_of(room, call_with_bytes, "x", "kind 7, status 76: what came");
    expect_of(room, call_with_bytes, "GET / HTTP/1.1", "kind 7, status 76: what came");
    expect_of(room, call_with_bytes, "sld\1\2||||||||", "kind 7, status 76: what came");
    expect_of(room, call_with_bytes, "sld\11\1|||", "kind 7, status 76: what came");
    expect_of(room, call_with_much, "", "kind 7, status 76: what came");
    expect_of(room, call_with, "/tmp/other.ledger|batch|close|1|", "not the ledger of this configuration");
    readings_are_as_they_were(room);
}

/* Any bytes at all: a line, or a call that is one. */
static void random_bytes_are_refused_or_understood(void **state) {
    enum { ROUNDS = 3000, CHANGES = 4, BYTES = 96 };
    static const char call[] = "sld\1\1\0\0\0/l\0batch\0close\0"
                               "1\0--note\0x";
    const int before = dup(STDIN_FILENO);
    uint32_t seed = 1;
    int understood = 0, after;

    (void)state;
    close(before);
    for (int i = 0; i < ROUNDS; i++) {
        struct fault fault = {0};
        struct desk_seat *seat;
        char bytes[BYTES] = {0};
        size_t length = sizeof call;
        union {
            char bytes[CMSG_SPACE(DESK_MOST_FDS * sizeof(int))];
            struct cmsghdr aligned;
        } control = {{0}};
        struct iovec part = {bytes, 0};
        struct msghdr message = {.msg_iov = &part, .msg_iovlen = 1, .msg_control = control.bytes};
        int ends[2];

        memcpy(bytes, call, sizeof call);
        for (int k = 0; k < i % CHANGES; k++) {
            seed = seed * 1664525 + 1013904223; // Numerical Recipes' constants, from memory
            bytes[(seed >> 8) % sizeof call] = (char)(seed >> 24);
            length = (seed & 1) != 0 ? (seed >> 16) % BYTES : length;
        }
        part.iov_len = length;
        message.msg_controllen = CMSG_SPACE((size_t)(i % (DESK_MOST_FDS + 1)) * sizeof(int));
        control.aligned = (struct cmsghdr){.cmsg_len = CMSG_LEN((size_t)(i % (DESK_MOST_FDS + 1)) * sizeof(int)),
                                           .cmsg_level = SOL_SOCKET,
                                           .cmsg_type = SCM_RIGHTS};
        if (i % (DESK_MOST_FDS + 1) == 0)
            message.msg_control = NULL, message.msg_controllen = 0;
        assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, ends), 0);
        assert_true(sendmsg(ends[0], &message, MSG_NOSIGNAL) >= 0 || length == 0);
        if (length == 0)
            shutdown(ends[0], SHUT_WR);
        seat = desk_take_seat(ends[1], &fault);
        assert_true(seat != NULL || (fault.status != 0 && fault.text[0] != '\0'));
        understood += seat != NULL;
        desk_leave_seat(seat);
        close(ends[0]);
        close(ends[1]);
    }
    assert_in_range(understood, 1, ROUNDS / 2);
    after = dup(STDIN_FILENO);
    close(after);
    assert_int_equal(after, before); // no descriptor that came is left open
}

/* SQL, shell, other files in the words: they are words. */
static void words_stay_words(void **state) {
    struct room *room = *state;

    needs_accounts(room);
    expect(room, MEMBER, 0,
           "$S disposition 1 hold --reason \"x'); UPDATE reading SET value = 0; --\" --by '$(touch $F/home/x)'",
           "");
    expect(room, MEMBER, 2, "ls $F/home/x", "No such file");
    expect(room, MEMBER, EX_USAGE, "$S claim '1; DROP TABLE reading' 1", "is no number");
    readings_are_as_they_were(room);
}

/* Answers a make with a descriptor that cannot be written, a read with a pipe that nobody writes to. */
static void answer_badly(struct room *room, const char *text) {
    static struct desk_message message;
    char words[LINE_BYTES];
    const int socket = connect_to_service(), fds[DESK_MOST_FDS] = {0, 1, 2};
    struct fault fault;

    desk_send(socket, DESK_BEGIN, 0, words, with_zeros(text, words), fds, DESK_MOST_FDS, &fault);
    while (desk_receive(socket, &message, &fault) == 0 && message.kind != DESK_DONE) {
        const int fd = open(room->fixture.ledger_path, O_RDONLY);

        printf("asked %d %s\n", (int)message.kind, message.text);
        desk_send(socket, DESK_ANSWER, 0, "", 0, &fd, message.kind == DESK_MAKE ? 1 : 0, &fault);
        close(fd);
    }
    printf("status %d: %s\n", message.status, message.text);
}

static void bad_answers_spoil_nothing(void **state) {
    struct room *room = *state;
    char words[LINE_BYTES];

    needs_accounts(room);
    snprintf(words, sizeof words, "%.200s|certificate|1|--why|x|-o|y.pdf|", room->fixture.ledger_path);
    expect_of(room, answer_badly, words, "status 74: y.pdf");
    snprintf(words, sizeof words, "%.200s|batch|open|--plan|y.plan|--charge|x|--oven|hardening|",
             room->fixture.ledger_path);
    expect_of(room, answer_badly, words, "status 66: y.plan");
    expect(room, geteuid(), 0, "sqlite3 $D/shop.ledger 'SELECT count(*) FROM certificate'", "2\n");
    readings_are_as_they_were(room);
}

/* Whoever presses Ctrl-C in the middle gets nothing done, and no service is left: not even one that waits for the
 * end of a plan that has none. */
static void leave_early(struct room *room, const char *text) {
    enum { AWAITED_US = 300000 };
    static struct desk_message message;
    char words[LINE_BYTES], path[PATH_BYTES + 16];
    const int socket = connect_to_service(), null = open("/dev/null", O_RDWR);
    const int fds[DESK_MOST_FDS] = {null, null, null};
    struct fault fault;
    int endless;

    snprintf(path, sizeof path, "%s/home/endless", room->folder);
    mkfifo(path, S_IRUSR | S_IWUSR);
    endless = open(path, O_RDWR); // whoever holds it never sees its end
    desk_send(socket, DESK_BEGIN, 0, words, with_zeros(text, words), fds, DESK_MOST_FDS, &fault);
    desk_receive(socket, &message, &fault);
    printf("asked %d %s\n", (int)message.kind, message.text);
    desk_send(socket, DESK_ANSWER, 0, "", 0, &endless, 1, &fault);
    usleep(AWAITED_US);
}

static void a_caller_who_leaves_ends_it(void **state) {
    struct room *room = *state;
    char words[LINE_BYTES];

    needs_accounts(room);
    snprintf(words, sizeof words, "%.200s|batch|open|--plan|gone.plan|--charge|gone|--oven|hardening|",
             room->fixture.ledger_path);
    expect_of(room, leave_early, words, "asked 2 gone.plan");
    expect(room, geteuid(), 0,
           "for i in 1 2 3 4 5 6 7 8 9 10; do pgrep -u 64001 -f 'soakledger.*desk' >/dev/null || exit 0; sleep "
           "0.3; done;"
           " exit 1",
           "");
    expect(room, geteuid(), 0, "sqlite3 $D/shop.ledger \"SELECT count(*) FROM batch WHERE charge = 'gone'\"",
           "0\n");
}

/* ---- a hostile service ---- */

static void the_caller_gives_only_what_was_named(void **state) {
    char *const words[] = {"certificate", "1", "--why", "no.txt", "-o", "out.pdf", "--by=me.txt", NULL};
    const int count = (int)(sizeof words / sizeof words[0]) - 1;

    (void)state;
    assert_true(desk_may_read(count, words, "no.txt"));
    assert_true(desk_may_read(count, words, "me.txt"));
    assert_false(desk_may_read(count, words, "out.pdf"));
    assert_false(desk_may_read(count, words, "/etc/passwd"));
    assert_true(desk_may_make(count, words, "out.pdf"));
    assert_true(desk_may_make(count, words, "out.pdf.sig"));
    assert_true(desk_may_make(count, words, "soakledger-batch-1.pdf"));
    assert_true(desk_may_make(count, words, "soakledger-batch-1.pdf.sig"));
    assert_false(desk_may_make(count, words, "out.pdf.sig.sig"));
    assert_false(desk_may_make(count, words, "out.pd"));
    assert_false(desk_may_make(count, words, "no.txt"));
    assert_false(desk_may_make(count, words, "me.txt"));
    assert_false(desk_may_make(count, words, "../soakledger-batch-1.pdf"));
    assert_false(desk_may_make(count, words, "soakledger-/../x.pdf"));
    assert_false(desk_may_make(count, words, "soakledger-batch-1.sh"));
    assert_false(desk_may_make(count, words, "soakledger-x.pdf.sh"));
}

static void a_service_that_asks_for_more_gets_nothing(void **state) {
    char *const words[] = {"batch", "open", "--plan", "a.plan", NULL};
    static struct desk_message message;
    struct fault fault = {0};
    int ends[2];

    (void)state;
    assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET, 0, ends), 0);
    assert_int_equal(desk_send(ends[1], DESK_READ, 0, "/etc/passwd", strlen("/etc/passwd"), NULL, 0, &fault), 0);
    assert_int_equal(desk_send(ends[1], DESK_MAKE, 0, "/tmp/made", strlen("/tmp/made"), NULL, 0, &fault), 0);
    assert_int_equal(desk_call(ends[0], "/x", 4, words, &fault), -1);
    assert_int_equal(fault.status, EX_PROTOCOL);
    assert_string_equal(fault.text, "the books' service asks for a file that was not named: '/tmp/made'");
    assert_int_equal(desk_receive(ends[1], &message, &fault), 0);
    assert_int_equal(message.kind, DESK_BEGIN);
    assert_memory_equal(message.text, "/x\0batch\0open\0--plan\0a.plan", message.length);
    assert_int_equal(message.fd_count, DESK_MOST_FDS);
    desk_close_fds(&message);
    assert_int_equal(desk_receive(ends[1], &message, &fault), 0);
    assert_int_equal(message.kind, DESK_ANSWER);
    assert_int_equal(message.status, EACCES);
    assert_int_equal(message.fd_count, 0);
    assert_int_equal(access("/tmp/made", F_OK), -1);
    close(ends[0]);
    close(ends[1]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_caller_gives_only_what_was_named),
        cmocka_unit_test(a_service_that_asks_for_more_gets_nothing),
        cmocka_unit_test(random_bytes_are_refused_or_understood),
        cmocka_unit_test(a_member_reads_while_it_is_recorded_and_after),
        cmocka_unit_test(a_member_keeps_books),
        cmocka_unit_test(a_member_gets_a_signed_certificate),
        cmocka_unit_test(faults_are_the_same_as_at_home),
        cmocka_unit_test(the_file_system_refuses_a_member),
        cmocka_unit_test(files_are_opened_with_the_callers_rights),
        cmocka_unit_test(outside_the_group_there_is_nothing),
        cmocka_unit_test(another_ledger_is_refused),
        cmocka_unit_test(what_is_no_call_is_refused),
        cmocka_unit_test(words_stay_words),
        cmocka_unit_test(bad_answers_spoil_nothing),
        cmocka_unit_test(a_caller_who_leaves_ends_it),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
