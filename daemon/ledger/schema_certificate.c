// SPDX-License-Identifier: MIT
/* What is kept of a certificate beside its number and digest: see issue.h. Head and tail, put
 * together, are a PDF that most readers open: its table of objects is off by the readings between them. */
#include <stddef.h>

#include "schema.h"

const char schema_certificate[] =
    "CREATE TABLE certificate_kept ("
    " certificate_id INTEGER PRIMARY KEY REFERENCES certificate,"
    " facts_sha256 TEXT NOT NULL REFERENCES document,"
    " why TEXT NOT NULL,"
    " said_by TEXT NOT NULL,"
    " program TEXT NOT NULL,"
    " first_object INTEGER NOT NULL CHECK (first_object > 0)," // of the readings, which go between head and tail
    " head BLOB NOT NULL,"
    " tail BLOB NOT NULL,"
    " signature BLOB CHECK (length(signature) = 64)) STRICT;\n" // Ed25519, of the whole file; NULL: not signed
    KEPT("certificate_kept", "certificate_id", "what is kept of a certificate")

        "CREATE VIEW certificate_in_words AS SELECT"
        " c.certificate_id AS number, c.batch_id, c.revision, " UTC(
            "c.issued_ms") " AS issued_utc, k.why, k.said_by,"
                           " k.program, k.signature IS NOT NULL AS is_signed, c.sha256, d.body AS facts"
                           " FROM certificate c LEFT JOIN certificate_kept k USING (certificate_id)"
                           " LEFT JOIN document d ON d.sha256 = k.facts_sha256 ORDER BY c.certificate_id;\n";
