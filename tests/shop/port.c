// SPDX-License-Identifier: MIT
/* A pseudo-terminal has no bit rate, so a frame ends where its function says. Silence ends one only when it
 * came in pieces and the rest stays out for BROKEN_OFF_MS of real time (a pseudo-terminal's bytes travel in
 * real time, whatever clock the play follows). */
#include "port.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "server.h"
#include "speech.h"

enum { BUFFER_BYTES = 1024, BROKEN_OFF_MS = 50, US_PER_MS = 1000, NS_PER_MS = 1000000, MS_PER_S = 1000 };
enum { GARBLED_BIT = 0x10 }; // makes no digit of a digit

struct port {
    size_t line;
    char link[PATH_MAX];
    int master, slave; // -1 while vanished. The slave is kept open so that the master never sees a hang-up
    size_t used;       // bytes of a frame that is not complete
    uint8_t buffer[BUFFER_BYTES];
    int64_t came_ms; // real time of the last of them
    size_t reply_length;
    uint8_t reply[SERVER_FRAME_BYTES]; // waits for reply_due_us; 0 bytes: none does
    int64_t reply_due_us;
    const struct scene_controller *speaker; // of text, or one of those that speak Modbus; NULL: nobody is here
    size_t controller;                      // its index
    int64_t print_due_us;
    uint64_t reply_number;
};

struct port *port_new(const struct scene *scene, size_t line, const char *directory, struct fault *fault) {
    struct port *port = calloc(1, sizeof *port);
    const char *link = scene->lines[line].link;
    int length;

    if (port == NULL) {
        fault_set_errno(fault, EX_OSERR, "cannot hold a line");
        return NULL;
    }
    port->line = line;
    port->master = port->slave = -1;
    port->print_due_us = scene->start_ms * US_PER_MS;
    for (size_t i = 0; i < scene->controller_count && port->speaker == NULL; i++)
        if (scene->controllers[i].line == line) {
            port->speaker = &scene->controllers[i];
            port->controller = i;
        }
    if (directory != NULL && link[0] != '/')
        length = snprintf(port->link, sizeof port->link, "%s/%s", directory, link);
    else
        length = snprintf(port->link, sizeof port->link, "%s", link);
    if (length >= PATH_MAX - (int)sizeof ".new") {
        fault_set(fault, EX_USAGE, "%.80s...: the path is too long", directory);
        free(port);
        return NULL;
    }
    return port;
}

void port_free(struct port *port) {
    if (port != NULL)
        port_vanish(port);
    free(port);
}

/* A new pseudo-terminal whose slave passes every byte as it is. */
static int open_terminal(struct port *port, char *name, size_t name_bytes, struct fault *fault) {
    struct termios raw;

    port->master = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
    if (port->master < 0 || grantpt(port->master) != 0 || unlockpt(port->master) != 0 ||
        ptsname_r(port->master, name, name_bytes) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot open a pseudo-terminal");
    port->slave = open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (port->slave < 0 || tcgetattr(port->slave, &raw) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot open %s", name);
    cfmakeraw(&raw);
    if (tcsetattr(port->slave, TCSANOW, &raw) != 0)
        return fault_set_errno(fault, EX_OSERR, "cannot set up %s", name);
    return 0;
}

/* Puts the link in place in one move, so that whoever looks finds the old one or the new one. */
static int make_link(const struct port *port, const char *name, struct fault *fault) {
    char fresh[PATH_MAX + sizeof ".new"];
    struct stat there;

    if (lstat(port->link, &there) == 0 && !S_ISLNK(there.st_mode))
        return fault_set(fault, EX_CANTCREAT, "%s is there and no symbolic link: expected a free path", port->link);
    snprintf(fresh, sizeof fresh, "%s.new", port->link);
    if (unlink(fresh) != 0 && errno != ENOENT)
        return fault_set_errno(fault, EX_CANTCREAT, "cannot replace %s", fresh);
    if (symlink(name, fresh) != 0 || rename(fresh, port->link) != 0)
        return fault_set_errno(fault, EX_CANTCREAT, "cannot link %s to %s", port->link, name);
    return 0;
}

static void close_terminal(struct port *port) {
    if (port->slave >= 0)
        close(port->slave);
    if (port->master >= 0)
        close(port->master);
    port->master = port->slave = -1;
    port->used = 0;
    port->reply_length = 0;
}

int port_appear(struct port *port, struct fault *fault) {
    char name[64];

    if (port->master >= 0)
        return 0;
    if (open_terminal(port, name, sizeof name, fault) == 0 && make_link(port, name, fault) == 0)
        return 0;
    close_terminal(port);
    return -1;
}

void port_vanish(struct port *port) {
    if (port->master < 0)
        return;
    unlink(port->link);
    close_terminal(port);
}

int port_descriptor(const struct port *port) {
    return port->master;
}

static int64_t read_real_ms(void) {
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * MS_PER_S + now.tv_nsec / NS_PER_MS;
}

/* A reply that nobody takes away is lost, as on a wire. A garbled one has one bit in the middle turned over. */
static void send_reply(struct port *port, const struct play *play, const uint8_t *reply, size_t length) {
    uint8_t sent[SPEECH_BYTES] = {0};

    memcpy(sent, reply, length);
    if (play_is_garbled(play, port->line, port->reply_number++))
        sent[length / 2] ^= GARBLED_BIT;
    if (write(port->master, sent, length) != (ssize_t)length)
        tcflush(port->master, TCOFLUSH);
}

static void answer(struct port *port, struct play *play, const uint8_t *frame, size_t length, int64_t now_us) {
    const struct server_device device = play_device(play, port->line);
    const int64_t delay_ms = play_reply_delay_ms(play, port->line, frame[0]);
    uint8_t reply[SERVER_FRAME_BYTES];
    const size_t reply_length = server_answer(&device, frame, length, reply);

    if (reply_length == 0)
        return;
    if (delay_ms == 0) {
        send_reply(port, play, reply, reply_length);
        return;
    }
    memcpy(port->reply, reply, reply_length);
    port->reply_length = reply_length;
    port->reply_due_us = now_us + delay_ms * US_PER_MS;
}

/* Takes one frame off the front of `bytes`. Returns how many bytes it took, 0 if more must come. */
static size_t take_frame(struct port *port, struct play *play, struct tally *tally, const uint8_t *bytes,
                         size_t length, int64_t now_us) {
    size_t frame = server_measure(bytes, length);

    if (frame > length)
        return 0;
    if (frame == 0 || !server_is_sealed(bytes, frame))
        frame = length; // an unknown function, or out of step: all that came together
    if (server_is_sealed(bytes, frame)) {
        tally_add_frame(tally, port->line, now_us / US_PER_MS, bytes, frame);
        answer(port, play, bytes, frame, now_us);
        return frame;
    }
    if (server_measure(bytes, length) == 0 && length < SERVER_FRAME_BYTES)
        return 0;
    tally_add_junk(tally, port->line, now_us / US_PER_MS, bytes, frame);
    return frame;
}

static bool speaks(const struct port *port, enum scene_speech speech) {
    return port->speaker != NULL && port->speaker->speaks == speech;
}

static void say_values(struct port *port, const struct play *play) {
    char text[SPEECH_BYTES] = "";
    size_t length;

    if (!play_has_power(play, port->controller))
        return;
    length = speech_write_values(play, port->controller, text);
    send_reply(port, play, (const uint8_t *)text, length);
}

/* A whole line of text, or of Modbus ASCII. */
static void answer_line(struct port *port, struct play *play, struct tally *tally, const uint8_t *bytes,
                        size_t asked, int64_t now_us) {
    const struct server_device device = play_device(play, port->line);
    size_t length = 0;
    uint8_t frame[SERVER_FRAME_BYTES], reply[SERVER_FRAME_BYTES];
    char text[SPEECH_BYTES];

    if (speaks(port, SPEAKS_ANSWERS) && speech_is_query(port->speaker->query, bytes, asked)) {
        tally_add_query(tally, port->line);
        say_values(port, play);
        return;
    }
    if (speaks(port, SPEAKS_ASCII))
        length = speech_open_ascii(bytes, asked, frame);
    if (length == 0) {
        tally_add_junk(tally, port->line, now_us / US_PER_MS, bytes, asked);
        return;
    }
    tally_add_frame(tally, port->line, now_us / US_PER_MS, frame, length);
    length = server_answer(&device, frame, length, reply);
    if (length > 0)
        send_reply(port, play, (const uint8_t *)text, speech_close_ascii(reply, length, text));
}

/* Takes one line off the front of `bytes`; 0 if its end is still to come. */
static size_t take_line(struct port *port, struct play *play, struct tally *tally, const uint8_t *bytes,
                        size_t length, int64_t now_us) {
    const uint8_t *end = memchr(bytes, '\n', length);

    if (end == NULL)
        return 0;
    answer_line(port, play, tally, bytes, (size_t)(end - bytes) + 1, now_us);
    return (size_t)(end - bytes) + 1;
}

void port_settle(struct port *port, struct tally *tally, int64_t now_us) {
    if (port->used > 0)
        tally_add_junk(tally, port->line, now_us / US_PER_MS, port->buffer, port->used);
    port->used = 0;
}

void port_serve(struct port *port, struct play *play, struct tally *tally, int64_t now_us) {
    size_t done = 0, taken;
    ssize_t got;

    if (port->used > 0 && read_real_ms() - port->came_ms > BROKEN_OFF_MS)
        port_settle(port, tally, now_us);
    got = read(port->master, port->buffer + port->used, sizeof port->buffer - port->used);
    if (got <= 0)
        return;
    port->used += (size_t)got;
    while (done < port->used &&
           (taken = (port->speaker == NULL || speaks(port, SPEAKS_RTU) ? take_frame : take_line)(
                port, play, tally, port->buffer + done, port->used - done, now_us)) > 0)
        done += taken;
    port->used -= done;
    memmove(port->buffer, port->buffer + done, port->used);
    if (port->used > 0)
        port->came_ms = read_real_ms();
}

int64_t port_due_us(const struct port *port) {
    if (speaks(port, SPEAKS_LINES))
        return port->master >= 0 ? port->print_due_us : INT64_MAX;
    return port->reply_length > 0 ? port->reply_due_us : INT64_MAX;
}

bool port_send_due(struct port *port, const struct play *play, int64_t now_us) {
    if (now_us < port_due_us(port))
        return false;
    if (speaks(port, SPEAKS_LINES)) {
        const int64_t every_us = port->speaker->every_ms * US_PER_MS;

        port->print_due_us += ((now_us - port->print_due_us) / every_us + 1) * every_us;
        say_values(port, play);
        return true;
    }
    send_reply(port, play, port->reply, port->reply_length);
    port->reply_length = 0;
    return false;
}
