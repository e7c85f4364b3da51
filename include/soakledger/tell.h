// SPDX-License-Identifier: MIT
/* tell: what sheets and terminal say of a batch beside its verdicts, in the same words. */
#ifndef SOAKLEDGER_TELL_H
#define SOAKLEDGER_TELL_H

#include <stdbool.h>
#include <stddef.h>

#include "soakledger/assess.h"
#include "soakledger/plan.h"
#include "soakledger/quantity.h"

enum { TELL_BYTES = 640, TELL_CELL_BYTES = 96 };

/* How a value found is held against its limit, in plain words. `out` has TELL_BYTES, here and below. */
char *tell_decision(const struct plan *plan, char *out);

/* The stations of a visit: "hold preheat, soak harden, quench plates". */
char *tell_visit(const struct plan *plan, size_t visit, char *out);

/* What a temper was worth: "24 min at 205 °C (Hollomon-Jaffe, C = 20)". False if the visit is no temper or has no
 * run. */
bool tell_equivalent(const struct assess_batch *assessed, size_t visit, enum temperature_unit unit, char *out);

/* The estimate of retained austenite after the quench or the cold hold of a visit: "about 17 %: lowest temperature
 * of the charge 29.7 °C". False where the plan asks for none or the visit is a temper. */
bool tell_austenite(const struct assess_batch *assessed, size_t visit, enum temperature_unit unit, char *out);
/* Where the estimate comes from. */
char *tell_austenite_source(const struct plan *plan, enum temperature_unit unit, char *out);

/* Of a channel as a run was judged by it: "corrected by the calibration of sensor 26-0417 (OVERDUE: it was due on
 * 2026-09-01); 12 of 900 good readings are outside its table and stay as they were". False where nothing was
 * corrected. */
bool tell_correction(const struct ledger_channel *channel, int64_t begun_ms, int utc_offset_min, char *out);
/* "read in millivolts, type K, cold junction measured by small.terminals". False where it is read in degrees. */
bool tell_cold_junction(const struct ledger_channel *channel, enum temperature_unit unit, char *out);

/* "58 to 62 HRC"; false if the plan asks for no hardness. */
bool tell_hardness(const struct plan *plan, char *out);

/* The books of a batch, one line an entry. `out` has TELL_LINE_BYTES; `zone_min` is the offset of times from UTC.
 */
enum { TELL_LINE_BYTES = 2048 };
char *tell_disposition(const struct books_disposition *disposition, int zone_min, char *out);
char *tell_hardness_reading(const struct books *books, size_t index, int zone_min, char *out);
char *tell_amendment(const struct books_amendment *amendment, const struct books *books, int zone_min, char *out);

/* What a cooling curve says, quantity by quantity. `value` is "not known" where it is not. TELL_CELL_BYTES each. */
enum { TELL_QUENCH_ROWS = 10 };
void tell_quench(const struct plan_operation *quench, const struct quench_curve *curve, size_t row,
                 enum temperature_unit unit, char *name, char *value);

#endif
