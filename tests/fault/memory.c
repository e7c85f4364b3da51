// SPDX-License-Identifier: MIT
/* Preloaded under a program: from SIGUSR1 on there is no more memory, until SIGUSR2. glibc alone. */
#include <errno.h>
#include <signal.h>
#include <stddef.h>
#include <string.h>

/* glibc's own names for what is replaced here. */
extern void *__libc_malloc(size_t bytes);               // NOLINT(bugprone-reserved-identifier)
extern void *__libc_calloc(size_t count, size_t bytes); // NOLINT(bugprone-reserved-identifier)
extern void *__libc_realloc(void *old, size_t bytes);   // NOLINT(bugprone-reserved-identifier)

void *malloc(size_t bytes);
void *calloc(size_t count, size_t bytes);
void *realloc(void *old, size_t bytes);

static volatile sig_atomic_t none_left;

static void take_signal(int number) {
    none_left = number == SIGUSR1;
}

__attribute__((constructor)) static void prepare(void) {
    struct sigaction action;

    memset(&action, 0, sizeof action);
    action.sa_handler = take_signal;
    action.sa_flags = SA_RESTART;
    sigaction(SIGUSR1, &action, NULL);
    sigaction(SIGUSR2, &action, NULL);
}

static void *refuse(void) {
    errno = ENOMEM;
    return NULL;
}

void *malloc(size_t bytes) {
    return none_left ? refuse() : __libc_malloc(bytes);
}

void *calloc(size_t count, size_t bytes) {
    return none_left ? refuse() : __libc_calloc(count, bytes);
}

void *realloc(void *old, size_t bytes) {
    return none_left ? refuse() : __libc_realloc(old, bytes);
}
