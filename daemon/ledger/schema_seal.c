// SPDX-License-Identifier: MIT
/* Seals: see soakledger-seal(5) for what each part covers, and how its digest comes about. */
#include "schema.h"

// clang-format off
const char schema_seal[] =
    "CREATE TABLE seal_kind (kind INTEGER PRIMARY KEY, words TEXT NOT NULL) STRICT;\n"
    "INSERT INTO seal_kind VALUES (1, 'a run, as it closed'), (2, 'a run, later'), (3, 'the books'),"
    " (4, 'a run, imported');\n"

    "CREATE TABLE seal ("
    " seal_id INTEGER PRIMARY KEY,"
    " form INTEGER NOT NULL CHECK (form > 0),"
    " kind INTEGER NOT NULL REFERENCES seal_kind,"
    " run_id INTEGER REFERENCES run,"
    " sealed_ms INTEGER NOT NULL,"
    " before TEXT NOT NULL " SHA256_CHECK("before") ","
    " sha256 TEXT NOT NULL UNIQUE " SHA256_CHECK("sha256") ","
    " CHECK ((run_id IS NULL) = (kind = 3))) STRICT;\n"
    "CREATE UNIQUE INDEX seal_run ON seal (run_id) WHERE run_id IS NOT NULL;\n"
    KEPT("seal", "seal_id", "a seal")
    WITHOUT_GAPS("seal", "seal_id", "seals")
    REFUSE("seal_run_unreplaced", "BEFORE INSERT ON seal WHEN EXISTS"
           " (SELECT 1 FROM seal WHERE run_id = NEW.run_id OR sha256 = NEW.sha256)", "a run is sealed once")

    "CREATE TABLE seal_part ("
    " seal_id INTEGER NOT NULL REFERENCES seal DEFERRABLE INITIALLY DEFERRED,"
    " place INTEGER NOT NULL CHECK (place > 0),"
    " name TEXT NOT NULL,"
    " channel_id INTEGER REFERENCES channel,"
    " low INTEGER NOT NULL,"
    " high INTEGER NOT NULL CHECK (high >= low),"
    " rows INTEGER NOT NULL CHECK (rows >= 0),"
    " sha256 TEXT NOT NULL " SHA256_CHECK("sha256") ","
    " PRIMARY KEY (seal_id, place)) STRICT, WITHOUT ROWID;\n"
    "CREATE INDEX seal_part_name ON seal_part (name, channel_id, high);\n"
    NEVER_CHANGED("seal_part", "a seal")
    NEVER_DELETED("seal_part", "a seal")
    REFUSE("seal_part_unreplaced", "BEFORE INSERT ON seal_part WHEN EXISTS"
           " (SELECT 1 FROM seal_part WHERE seal_id = NEW.seal_id AND place = NEW.place)", "a seal is never replaced")
    REFUSE("seal_part_in_time", "BEFORE INSERT ON seal_part WHEN EXISTS"
           " (SELECT 1 FROM seal WHERE seal_id = NEW.seal_id)", "the seal is there: it takes no more parts")

    "CREATE VIEW seal_in_words AS SELECT"
    " s.seal_id, k.words AS of, s.run_id, " UTC("s.sealed_ms") " AS sealed_utc, s.sha256,"
    " (SELECT count(*) FROM seal_part p WHERE p.seal_id = s.seal_id) AS parts"
    " FROM seal s JOIN seal_kind k USING (kind) ORDER BY s.seal_id;\n";
// clang-format on
