// SPDX-License-Identifier: MIT
/* What a person adds to a batch afterwards. Entries are numbered within their batch by the order of their ids. */
#include "schema.h"

// clang-format off
const char schema_books[] =
    "CREATE TABLE decision (decision INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO decision VALUES (1, 'accept as is'), (2, 'rework'), (3, 'scrap'), (4, 'hold');\n"

    "CREATE TABLE disposition ("
    " disposition_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " decision INTEGER NOT NULL REFERENCES decision,"
    " said_ms INTEGER NOT NULL,"
    " said_by TEXT NOT NULL CHECK (said_by <> ''),"
    " reason TEXT NOT NULL CHECK (reason <> '')) STRICT;\n"
    "CREATE INDEX disposition_batch ON disposition (batch_id);\n"
    KEPT("disposition", "disposition_id", "a disposition")

    "CREATE TABLE hardness ("
    " hardness_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " scale TEXT NOT NULL CHECK (scale <> ''),"
    " value INTEGER NOT NULL CHECK (value > 0),"
    " uncertainty INTEGER NOT NULL CHECK (uncertainty >= 0),"
    " piece TEXT NOT NULL,"
    " position TEXT NOT NULL,"
    " instrument TEXT NOT NULL,"
    " measured_by TEXT NOT NULL CHECK (measured_by <> ''),"
    " measured_ms INTEGER NOT NULL,"
    " said_ms INTEGER NOT NULL) STRICT;\n"
    "CREATE INDEX hardness_batch ON hardness (batch_id);\n"
    KEPT("hardness", "hardness_id", "a hardness reading")

    "CREATE TABLE entry_kind (entry INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO entry_kind VALUES (1, 'charge'), (2, 'customer'), (3, 'order'), (4, 'operator'), (5, 'note'),"
    " (6, 'attestation'), (7, 'disposition'), (8, 'hardness reading');\n"

    "CREATE TABLE amendment ("
    " amendment_id INTEGER PRIMARY KEY,"
    " batch_id INTEGER NOT NULL REFERENCES batch,"
    " entry INTEGER NOT NULL REFERENCES entry_kind,"
    " number INTEGER NOT NULL CHECK (number >= 0),"
    " withdraws INTEGER NOT NULL CHECK (withdraws IN (0, 1)),"
    " value INTEGER,"
    " words TEXT NOT NULL,"
    " reason TEXT NOT NULL CHECK (reason <> ''),"
    " said_by TEXT NOT NULL CHECK (said_by <> ''),"
    " said_ms INTEGER NOT NULL,"
    " CHECK ((entry <= 5) = (number = 0)),"
    " CHECK (entry > 5 OR withdraws = 0),"
    " CHECK ((value IS NOT NULL) = (entry = 8 AND withdraws = 0))) STRICT;\n"
    "CREATE INDEX amendment_batch ON amendment (batch_id);\n"
    KEPT("amendment", "amendment_id", "an amendment");

const char schema_books_words[] =
    "CREATE VIEW disposition_in_words AS SELECT"
    " d.batch_id, k.words AS decision, d.reason, d.said_by, " UTC("d.said_ms") " AS said_utc"
    " FROM disposition d JOIN decision k USING (decision) ORDER BY d.disposition_id;\n"

    "CREATE VIEW hardness_in_words AS SELECT"
    " batch_id, row_number() OVER (PARTITION BY batch_id ORDER BY hardness_id) AS number, value / 1e3 AS value, scale,"
    " nullif(uncertainty, 0) / 1e3 AS uncertainty, piece, position, instrument, measured_by,"
    " " UTC("measured_ms") " AS measured_utc FROM hardness ORDER BY hardness_id;\n"

    "CREATE VIEW amendment_in_words AS SELECT"
    " a.batch_id, k.words AS entry, nullif(a.number, 0) AS number, iif(a.withdraws, 'withdrawn', a.words) AS reads,"
    " a.reason, a.said_by, " UTC("a.said_ms") " AS said_utc"
    " FROM amendment a JOIN entry_kind k USING (entry) ORDER BY a.amendment_id;\n";
// clang-format on
