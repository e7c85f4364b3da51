// SPDX-License-Identifier: MIT
/* The ovens at this moment, again and again until q is pressed; once where there is no terminal.
 *
 * The terminal is left as it was found on every way out: q, Ctrl-C, a hangup, a fault, Ctrl-Z and back. */
#include <errno.h>
#include <langinfo.h>
#include <locale.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/signalfd.h>
#include <termios.h>
#include <unistd.h>

#include "command.h"
#include "now_parts.h"

static const char USAGE[] = "now [--once]";

enum { REFRESH_MS = 1000, SCREEN_COLUMNS = 80, SCREEN_ROWS = 24 };

/* ECMA-48 control sequences, and three private modes that terminals have in common: the second screen, the cursor,
 * and no wrapping at the edge. */
#define ENTER_SCREEN "\033[?1049h\033[?25l\033[?7l"
#define LEAVE_SCREEN "\033[?7h\033[?25h\033[?1049l"
#define TO_TOP       "\033[H"
#define CLEAR_LINE   "\033[K"
#define CLEAR_BELOW  "\033[J"
#define STRONG       "\033[1m"
#define ALARM        "\033[1;31m"
#define ORDINARY     "\033[0m"

struct now_screen {
    FILE *out;
    int in, signals;
    bool styled, coloured, utf8;
    bool entered;
    struct termios before;
};

/* ---- what the terminal can do ---- */

static bool now_is_utf8(void) {
    const locale_t locale = newlocale(LC_CTYPE_MASK, "", (locale_t)0);
    bool utf8;

    if (locale == (locale_t)0)
        return false;
    utf8 = strcmp(nl_langinfo_l(CODESET, locale), "UTF-8") == 0;
    freelocale(locale);
    return utf8;
}

/* no-color.org: any value but an empty one switches colour off. Bold is no colour. */
static void now_look_at_terminal(struct now_screen *screen, bool terminal) {
    const char *no_colour = getenv("NO_COLOR"), *kind = getenv("TERM");

    screen->utf8 = now_is_utf8();
    screen->styled = terminal && kind != NULL && strcmp(kind, "dumb") != 0 && kind[0] != '\0';
    screen->coloured = screen->styled && (no_colour == NULL || no_colour[0] == '\0');
}

static size_t now_number_of(const char *name, size_t otherwise) {
    const char *text = getenv(name);
    struct fault ignored;
    int64_t number;

    if (text == NULL || quantity_parse_integer(text, 1, NOW_MOST_COLUMNS, &number, &ignored) != 0)
        return otherwise;
    return (size_t)number;
}

static void now_measure(const struct now_screen *screen, size_t *columns, size_t *rows) {
    struct winsize size;

    *columns = now_number_of("COLUMNS", SCREEN_COLUMNS);
    *rows = now_number_of("LINES", SCREEN_ROWS);
    if (ioctl(fileno(screen->out), TIOCGWINSZ, &size) == 0 && size.ws_col > 0 && size.ws_row > 0) {
        *columns = size.ws_col;
        *rows = size.ws_row;
    }
    if (*columns < NOW_LEAST_COLUMNS)
        *columns = NOW_LEAST_COLUMNS;
    if (*columns > NOW_MOST_COLUMNS)
        *columns = NOW_MOST_COLUMNS;
}

/* ---- one page ---- */

static void now_print_line(const struct now_screen *screen, const struct now_line *line, const char *end) {
    const char *style = "";

    if (line->style == NOW_ALARM && screen->coloured)
        style = ALARM;
    else if (line->style != NOW_PLAIN && screen->styled)
        style = STRONG;
    fprintf(screen->out, "%s%s%s%s", style, line->text, style[0] != '\0' ? ORDINARY : "", end);
}

/* All of one page is of one moment. */
static int now_look_once(struct command *command, struct now_page *page, size_t rows, struct fault *fault) {
    struct now_look *look = NULL;
    int result = -1;

    if (glance_begin(command->ledger, fault) == 0)
        look = now_look_up(command->ledger, command->config, fault);
    if (look != NULL)
        result = now_compose(page, command->ledger, command->config, look, rows, fault);
    now_free(look);
    glance_end(command->ledger);
    return result;
}

static int now_print_once(struct command *command, const struct now_screen *screen, struct fault *fault) {
    struct now_page page = {.columns = now_number_of("COLUMNS", SCREEN_COLUMNS), .utf8 = screen->utf8};
    size_t unused;
    int result;

    if (isatty(fileno(screen->out)))
        now_measure(screen, &page.columns, &unused);
    if (page.columns < NOW_LEAST_COLUMNS)
        page.columns = NOW_LEAST_COLUMNS;
    result = now_look_once(command, &page, 0, fault);
    for (size_t i = 0; result == 0 && i < page.count; i++)
        now_print_line(screen, &page.lines[i], "\n");
    now_release(&page);
    return result;
}

static int now_show(struct command *command, const struct now_screen *screen, struct fault *fault) {
    struct now_page page = {.utf8 = screen->utf8};
    size_t rows;
    int result;

    now_measure(screen, &page.columns, &rows);
    result = now_look_once(command, &page, rows > 1 ? rows - 1 : 1, fault); // the last is for how to leave
    if (result == 0) {
        fputs(TO_TOP, screen->out);
        for (size_t i = 0; i < page.count; i++) {
            fputs(CLEAR_LINE, screen->out); // before the text: the last column may be taken
            now_print_line(screen, &page.lines[i], "\r\n");
        }
        fputs(CLEAR_BELOW, screen->out);
        fprintf(screen->out, "\033[%zu;1H" CLEAR_LINE "q: leave", rows);
        if (fflush(screen->out) != 0)
            result = fault_set_errno(fault, EX_IOERR, "cannot write to the terminal");
    }
    now_release(&page);
    return result;
}

/* ---- the terminal, taken and given back ---- */

static int now_enter(struct now_screen *screen, struct fault *fault) {
    struct termios raw;

    if (tcgetattr(screen->in, &screen->before) != 0)
        return fault_set_errno(fault, EX_IOERR, "cannot read how the terminal is set");
    raw = screen->before;
    raw.c_lflag &= ~(tcflag_t)(ICANON | ECHO); // keys come at once and unseen; Ctrl-C stays a signal
    raw.c_cc[VMIN] = 0;
    raw.c_cc[VTIME] = 0;
    if (tcsetattr(screen->in, TCSADRAIN, &raw) != 0)
        return fault_set_errno(fault, EX_IOERR, "cannot set the terminal");
    screen->entered = true;
    fputs(ENTER_SCREEN, screen->out);
    return 0;
}

static void now_leave(struct now_screen *screen) {
    if (!screen->entered)
        return;
    screen->entered = false;
    fputs(ORDINARY LEAVE_SCREEN, screen->out);
    fflush(screen->out);
    tcsetattr(screen->in, TCSADRAIN, &screen->before);
}

static int now_take_signals(struct now_screen *screen, sigset_t *before, struct fault *fault) {
    static const int taken[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGTSTP, SIGWINCH};
    sigset_t set;

    sigemptyset(&set);
    for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++)
        sigaddset(&set, taken[i]);
    if (sigprocmask(SIG_BLOCK, &set, before) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot hold signals back");
    screen->signals = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    return screen->signals >= 0 ? 0 : fault_set_errno(fault, EX_OSERR, "cannot wait for signals");
}

/* 1: go on, 0: leave, -1 with a fault. */
static int now_take_signal(struct now_screen *screen, struct fault *fault) {
    struct signalfd_siginfo info;

    while (read(screen->signals, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo == SIGWINCH)
            continue;
        if (info.ssi_signo != SIGTSTP)
            return 0;
        now_leave(screen);
        kill(getpid(), SIGSTOP); // until somebody says fg
        if (now_enter(screen, fault) != 0)
            return -1;
    }
    return 1;
}

static bool now_has_quit(const struct now_screen *screen) {
    char keys[64];
    const ssize_t count = read(screen->in, keys, sizeof keys);

    for (ssize_t i = 0; i < count; i++)
        if (keys[i] == 'q' || keys[i] == 'Q' || keys[i] == '\003') // Ctrl-C where it is no signal
            return true;
    return count < 0 && errno != EINTR && errno != EAGAIN;
}

static int now_watch(struct command *command, struct now_screen *screen, struct fault *fault) {
    int going = 1, result = 0;

    while (going == 1 && (result = now_show(command, screen, fault)) == 0) {
        struct pollfd fds[] = {{screen->signals, POLLIN, 0}, {screen->in, POLLIN, 0}};

        if (poll(fds, sizeof fds / sizeof fds[0], REFRESH_MS) < 0 && errno != EINTR)
            return fault_set_errno(fault, EX_OSERR, "cannot wait for the terminal");
        if (fds[0].revents != 0)
            going = now_take_signal(screen, fault);
        if (going == 1 && (fds[1].revents & (POLLHUP | POLLERR)) != 0)
            going = 0;
        if (going == 1 && (fds[1].revents & POLLIN) != 0 && now_has_quit(screen))
            going = 0;
    }
    return going < 0 ? -1 : result;
}

static int now_stay(struct command *command, struct now_screen *screen, struct fault *fault) {
    sigset_t before;
    int result;

    if (now_take_signals(screen, &before, fault) != 0)
        return -1;
    result = now_enter(screen, fault);
    if (result == 0)
        result = now_watch(command, screen, fault);
    now_leave(screen);
    close(screen->signals);
    sigprocmask(SIG_SETMASK, &before, NULL);
    return result;
}

int command_now(struct command *command, int argc, char **argv, struct fault *fault) {
    struct now_screen screen = {.out = command->out, .in = STDIN_FILENO};
    const bool once = command_take_out(&argc, argv, "--once");
    const bool terminal = isatty(fileno(command->out)) == 1;
    const char *none = NULL;

    if (command_take(argc, argv, NULL, 0, &none, 0, 0, USAGE, fault) < 0 ||
        command_open_ledger(command, LEDGER_READ, fault) != 0)
        return -1;
    now_look_at_terminal(&screen, terminal);
    if (once || !screen.styled || isatty(STDIN_FILENO) != 1)
        return now_print_once(command, &screen, fault);
    return now_stay(command, &screen, fault);
}
