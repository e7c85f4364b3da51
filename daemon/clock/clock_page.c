// SPDX-License-Identifier: MIT
#include "clock_page.h"
#include "soakledger/clock.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

/* "SOAKPAGE" in ASCII: a file that is something else is refused. */
static const uint64_t page_mark = UINT64_C(0x534f414b50414745);

struct clock_place {
    _Atomic int taken;
    _Atomic int pid; // 0: left held, by nobody
    _Atomic int64_t allowed_us;
    _Atomic uint64_t looks; // times that it found nothing to do
    char name[CLOCK_PAGE_NAME_BYTES];
};

struct clock_page {
    uint64_t mark;
    int64_t start_us;
    _Atomic int64_t now_us;
    _Atomic int64_t wall_step_ms;
    char boot_id[CLOCK_BOOT_ID_BYTES];
    _Atomic int joining; // a spin lock: two programs may join at once
    struct clock_place places[CLOCK_PAGE_PLACES];
};

enum { US_PER_MS = 1000 };

/* A random identity for this page's "boot", in the shape of a UUID version 4 (RFC 4122, 4.4). */
static void make_boot_id(char id[CLOCK_BOOT_ID_BYTES]) {
    unsigned char r[16] = {0};

    if (getrandom(r, sizeof r, 0) != (ssize_t)sizeof r)
        r[0] = (unsigned char)getpid();
    r[6] = (unsigned char)((r[6] & 0x0f) | 0x40);
    r[8] = (unsigned char)((r[8] & 0x3f) | 0x80);
    snprintf(id, CLOCK_BOOT_ID_BYTES, "%02x%02x%02x%02x-%02x%02x-%02x%02x-%02x%02x-%02x%02x%02x%02x%02x%02x", r[0],
             r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8], r[9], r[10], r[11], r[12], r[13], r[14], r[15]);
}

int clock_create_page(const char *path, int64_t start_ms, struct fault *fault) {
    struct clock_page page = {.mark = page_mark, .start_us = start_ms * US_PER_MS};
    int file;

    atomic_init(&page.now_us, start_ms * US_PER_MS);
    make_boot_id(page.boot_id);
    unlink(path); // a program that still has the old page keeps the old page
    file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR);
    if (file < 0)
        return fault_set_errno(fault, EX_CANTCREAT, "cannot make the clock page %s", path);
    if (write(file, &page, sizeof page) != (ssize_t)sizeof page) {
        close(file);
        return fault_set_errno(fault, EX_IOERR, "cannot write the clock page %s", path);
    }
    close(file);
    return 0;
}

struct clock_page *clock_page_map(const char *path, struct fault *fault) {
    const int file = open(path, O_RDWR | O_CLOEXEC);
    struct clock_page *page = MAP_FAILED;
    struct stat status;

    if (file < 0) {
        fault_set_errno(fault, EX_NOINPUT, "cannot open the clock page %s", path);
        return NULL;
    }
    if (fstat(file, &status) == 0 && status.st_size == (off_t)sizeof *page)
        page = mmap(NULL, sizeof *page, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    close(file);
    if (page == MAP_FAILED || page->mark != page_mark) {
        if (page != MAP_FAILED)
            munmap(page, sizeof *page);
        fault_set(fault, EX_DATAERR, "%s is not a clock page", path);
        return NULL;
    }
    return page;
}

void clock_page_unmap(struct clock_page *page) {
    if (page != NULL)
        munmap(page, sizeof *page);
}

static bool is_alive(int pid) {
    return pid != 0 && (kill(pid, 0) == 0 || errno == EPERM);
}

static void free_place(struct clock_place *place) {
    atomic_store(&place->allowed_us, INT64_MAX);
    atomic_store(&place->taken, 0);
}

/* With the joining lock held. */
static int find_place(struct clock_page *page, const char *name) {
    int free_index = -1;

    for (int i = 0; i < CLOCK_PAGE_PLACES; i++) {
        struct clock_place *place = &page->places[i];

        if (!atomic_load(&place->taken)) {
            if (free_index < 0)
                free_index = i;
        } else if (strcmp(place->name, name) == 0) {
            return is_alive(atomic_load(&place->pid)) ? -1 : i;
        }
    }
    return free_index;
}

int clock_page_join(struct clock_page *page, const char *name) {
    int expected = 0, index;

    if (strlen(name) >= CLOCK_PAGE_NAME_BYTES)
        return -1;
    while (!atomic_compare_exchange_weak(&page->joining, &expected, 1)) {
        expected = 0;
        usleep(1);
    }
    index = find_place(page, name);
    if (index >= 0) {
        struct clock_place *place = &page->places[index];

        strcpy(place->name, name);
        atomic_store(&place->pid, getpid());
        atomic_store(&place->allowed_us, INT64_MIN);
        atomic_store(&place->taken, 1);
    }
    atomic_store(&page->joining, 0);
    return index;
}

void clock_page_leave(struct clock_page *page, int place) {
    free_place(&page->places[place]);
}

void clock_page_leave_held(struct clock_page *page, int place) {
    clock_page_hold(page, place);
    atomic_store(&page->places[place].pid, 0);
}

int64_t clock_page_now_us(const struct clock_page *page) {
    return atomic_load(&page->now_us);
}

int64_t clock_page_start_us(const struct clock_page *page) {
    return page->start_us;
}

int64_t clock_page_wall_step_ms(const struct clock_page *page) {
    return atomic_load(&page->wall_step_ms);
}

void clock_page_step_wall(struct clock_page *page, int64_t step_ms) {
    atomic_fetch_add(&page->wall_step_ms, step_ms);
}

void clock_page_read_boot_id(const struct clock_page *page, char *id) {
    memcpy(id, page->boot_id, CLOCK_BOOT_ID_BYTES);
}

void clock_page_allow(struct clock_page *page, int place, int64_t until_us) {
    atomic_store(&page->places[place].allowed_us, until_us);
}

void clock_page_hold(struct clock_page *page, int place) {
    atomic_store(&page->places[place].allowed_us, INT64_MIN);
}

void clock_page_advance(struct clock_page *page) {
    int64_t now_us = atomic_load(&page->now_us), earliest_us = INT64_MAX;

    for (int i = 0; i < CLOCK_PAGE_PLACES; i++) {
        if (atomic_load(&page->places[i].taken)) {
            const int64_t allowed_us = atomic_load(&page->places[i].allowed_us);

            if (allowed_us < earliest_us)
                earliest_us = allowed_us;
        }
    }
    if (earliest_us == INT64_MAX) // nobody wants time to come to any particular moment
        return;
    while (earliest_us > now_us && !atomic_compare_exchange_weak(&page->now_us, &now_us, earliest_us))
        ;
}

void clock_page_look(struct clock_page *page, int place) {
    atomic_fetch_add(&page->places[place].looks, 1);
}

void clock_page_count_looks(struct clock_page *page, uint64_t looks[CLOCK_PAGE_PLACES]) {
    for (int i = 0; i < CLOCK_PAGE_PLACES; i++)
        looks[i] = atomic_load(&page->places[i].looks);
}

bool clock_page_others_looked(struct clock_page *page, int own, const uint64_t since[CLOCK_PAGE_PLACES],
                              uint64_t times) {
    for (int i = 0; i < CLOCK_PAGE_PLACES; i++) {
        struct clock_place *place = &page->places[i];

        if (i != own && atomic_load(&place->taken) && atomic_load(&place->pid) != 0 &&
            atomic_load(&place->looks) - since[i] < times)
            return false;
    }
    return true;
}

void clock_page_bury_dead(struct clock_page *page) {
    for (int i = 0; i < CLOCK_PAGE_PLACES; i++) {
        struct clock_place *place = &page->places[i];
        const int pid = atomic_load(&place->pid);

        if (atomic_load(&place->taken) && pid != 0 && !is_alive(pid))
            free_place(place);
    }
}
