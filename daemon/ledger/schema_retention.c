// SPDX-License-Identifier: MIT
/* The second rung's part in thinning: readings of an idle oven may go, on record, and no others.
 *
 * A thinning names a channel and a span, and is open for one transaction of the recorder. While it is open readings
 * of that span can be deleted, as far as they lie outside of every run of that oven by a wide margin: a run's lead,
 * and what its seal stands on, stay as they are. */
#include <stddef.h>

#include "schema.h"

// clang-format off

/* The longest lead that a configuration may ask for, two hours: a run's seal stands on its lead. */
#define RUN_MARGIN_MS "7200000"

const char schema_retention[] =
    "CREATE TABLE thinning ("
    " thinning_id INTEGER PRIMARY KEY,"
    " channel_id INTEGER NOT NULL REFERENCES channel,"
    " from_ms INTEGER NOT NULL,"
    " until_ms INTEGER NOT NULL CHECK (until_ms > from_ms),"
    " interval_ms INTEGER NOT NULL CHECK (interval_ms > 0),"
    " t_ms INTEGER NOT NULL,"
    " kept INTEGER CHECK (kept >= 0),"
    " removed INTEGER CHECK (removed >= 0),"
    " CHECK ((kept IS NULL) = (removed IS NULL))) STRICT;\n"
    "CREATE INDEX thinning_channel ON thinning (channel_id, until_ms);\n"
    "CREATE INDEX thinning_open ON thinning (channel_id) WHERE removed IS NULL;\n"
    NEVER_DELETED("thinning", "a thinning")
    NEVER_REPLACED("thinning", "thinning_id", "a thinning")
    REFUSE("thinning_ends_once", "BEFORE UPDATE ON thinning WHEN NOT (OLD.removed IS NULL AND NEW.removed IS NOT NULL"
           " AND (NEW.thinning_id, NEW.channel_id, NEW.from_ms, NEW.until_ms, NEW.interval_ms, NEW.t_ms) ="
           " (OLD.thinning_id, OLD.channel_id, OLD.from_ms, OLD.until_ms, OLD.interval_ms, OLD.t_ms))",
           "a thinning is never changed, it only ends, once")
    "INSERT INTO event_kind VALUES (8, 'idle readings thinned', 'readings removed');\n"
    "DROP TRIGGER reading_undeleted;\n"
    REFUSE("reading_undeleted", "BEFORE DELETE ON reading WHEN NOT EXISTS (SELECT 1 FROM thinning t WHERE"
           " t.removed IS NULL AND t.channel_id = OLD.channel_id AND OLD.t_ms >= t.from_ms AND OLD.t_ms < t.until_ms)"
           " OR EXISTS (SELECT 1 FROM run r JOIN channel c USING (oven_id) WHERE c.channel_id = OLD.channel_id AND"
           " r.begun_ms <= OLD.t_ms + " RUN_MARGIN_MS
           " AND coalesce(r.ended_ms + " RUN_MARGIN_MS ", OLD.t_ms) >= OLD.t_ms)",
           "a reading is never deleted");
