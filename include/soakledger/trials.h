// SPDX-License-Identifier: MIT
/* trials: system accuracy tests and uniformity surveys, as they were made: kept in the ledger, append-only. What
 * they rest on (readings, fittings) is in the ledger already; kept here is what was asked, by whom, and what came
 * out.
 *
 * Both are numbered from 1 without gaps. Faults as in ledger.h. Writing is for books. */
#ifndef SOAKLEDGER_TRIALS_H
#define SOAKLEDGER_TRIALS_H

#include <stddef.h>
#include <stdint.h>

#include "soakledger/accuracy.h"
#include "soakledger/fault.h"
#include "soakledger/ledger.h"
#include "soakledger/survey.h"

/* ---- system accuracy tests ---- */

struct trials_accuracy {
    int64_t accuracy_id;
    int64_t done_ms;
    char *done_by, *note;
    int64_t oven_id;
    char *reference; // of a hand-held instrument: its name and number, as given; "" with a reference channel
    struct accuracy_setting setting;
    struct accuracy_result result;
};

/* Returns its number. Its own accuracy_id says nothing. */
int64_t trials_add_accuracy(struct ledger *ledger, const struct trials_accuracy *accuracy, struct fault *fault);
/* NULL: with EX_NOINPUT if there is none of that number. */
struct trials_accuracy *trials_read_accuracy(struct ledger *ledger, int64_t accuracy_id, struct fault *fault);
void trials_free_accuracy(struct trials_accuracy *accuracy); // NULL is allowed
/* How many there are: numbers go from 1 to that. -1 on a fault. */
int64_t trials_count_accuracies(struct ledger *ledger, struct fault *fault);

/* ---- uniformity surveys ---- */

struct trials_place {
    struct survey_channel channel;
    char *place; // in the work zone, in words; "" if not given
};

struct trials_survey {
    int64_t survey_id;
    int64_t done_ms;
    char *done_by, *note;
    int64_t oven_id;
    int64_t run_id; // 0: a time was given
    struct survey_setting setting;
    size_t place_count;
    struct trials_place places[SURVEY_SENSORS_MOST];
    int tightest; // class met; 0: none
    struct survey_class classes[SURVEY_CLASSES];
    int64_t settled_ms, ended_ms; // 0 if it did not settle
    int64_t spread_mc, worst_mc;  // see survey.h
};

int64_t trials_add_survey(struct ledger *ledger, const struct trials_survey *survey, struct fault *fault);
struct trials_survey *trials_read_survey(struct ledger *ledger, int64_t survey_id, struct fault *fault);
void trials_free_survey(struct trials_survey *survey); // NULL is allowed
int64_t trials_count_surveys(struct ledger *ledger, struct fault *fault);

#endif
