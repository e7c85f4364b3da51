// SPDX-License-Identifier: MIT
/* clock_page: the shared file behind a simulated clock; private to the clock room.
 * Time is the earliest of what the places allow. Every function is safe between processes. */
#ifndef SOAKLEDGER_CLOCK_PAGE_H
#define SOAKLEDGER_CLOCK_PAGE_H

#include <stdbool.h>
#include <stdint.h>

#include "soakledger/fault.h"

enum { CLOCK_PAGE_PLACES = 16, CLOCK_PAGE_NAME_BYTES = 32 };

struct clock_page;

struct clock_page *clock_page_map(const char *path, struct fault *fault);
void clock_page_unmap(struct clock_page *page); // NULL is allowed

/* A place by that name, holding time still; -1 if all are taken or a living program has the name. */
int clock_page_join(struct clock_page *page, const char *name);
void clock_page_leave(struct clock_page *page, int place);
void clock_page_leave_held(struct clock_page *page, int place);

int64_t clock_page_now_us(const struct clock_page *page);
int64_t clock_page_start_us(const struct clock_page *page);
int64_t clock_page_wall_step_ms(const struct clock_page *page);
void clock_page_step_wall(struct clock_page *page, int64_t step_ms);
void clock_page_read_boot_id(const struct clock_page *page, char *id);

/* Lets time run until `until_us`; stops it where it is now. */
void clock_page_allow(struct clock_page *page, int place, int64_t until_us);
void clock_page_hold(struct clock_page *page, int place);
/* Moves time as far as all places allow. */
void clock_page_advance(struct clock_page *page);
/* Each program counts the times that it looked and found nothing to do. Whoever has asked another one something
 * knows by these that it was not merely kept from running: on a busy machine that may take seconds. */
void clock_page_look(struct clock_page *page, int place);
void clock_page_count_looks(struct clock_page *page, uint64_t looks[CLOCK_PAGE_PLACES]);
/* Whether every other living program has looked so many times since. */
bool clock_page_others_looked(struct clock_page *page, int own, const uint64_t since[CLOCK_PAGE_PLACES],
                              uint64_t times);
/* Frees the places of programs that died without leaving. */
void clock_page_bury_dead(struct clock_page *page);

#endif
