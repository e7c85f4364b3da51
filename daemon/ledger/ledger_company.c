// SPDX-License-Identifier: MIT
#include "soakledger/company.h"

#include "ledger_private.h"

int company_add(struct ledger *ledger, const struct company *company, const char *by, struct fault *fault) {
    static const char sql[] = "INSERT INTO company (batch_id, with_batch_id, together, split_off, t_ms, said_by)"
                              " VALUES (?1, coalesce((SELECT c.with_batch_id FROM company c WHERE ?3 = 1 AND"
                              " c.together = 1 AND c.company_id = (SELECT max(company_id) FROM company WHERE"
                              " batch_id = ?2)), ?2), ?3, ?4, ?5, ?6)";
    struct query query;

    if (ledger_require(ledger, STATEMENT_HAS_BATCH, company->batch_id, "batch", fault) != 0 ||
        ledger_require(ledger, STATEMENT_HAS_BATCH, company->with_batch_id, "batch", fault) != 0) {
        return -1;
    }
    query_open_sql(&query, ledger, sql, "say who goes with whom", fault);
    query_put_int(&query, company->batch_id);
    query_put_int(&query, company->with_batch_id);
    query_put_int(&query, company->together ? 1 : 0);
    query_put_int(&query, company->split_off ? 1 : 0);
    query_put_int(&query, company->t_ms);
    query_put_text(&query, by);
    return query_run(&query);
}

int company_read(struct ledger *ledger, int64_t batch_id, struct company *company, struct fault *fault) {
    static const char sql[] = "SELECT with_batch_id, together, split_off, t_ms FROM company WHERE batch_id = ?"
                              " ORDER BY company_id DESC LIMIT 1";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "read who goes with whom", fault);
    query_put_int(&query, batch_id);
    got = query_step(&query);
    if (got == 1) {
        *company = (struct company){
            .batch_id = batch_id,
            .with_batch_id = query_get_int(&query, 0, 1, INT64_MAX),
            .together = query_get_int(&query, 1, 0, 1) == 1,
            .split_off = query_get_int(&query, 2, 0, 1) == 1,
            .t_ms = query_get_int(&query, 3, INT64_MIN, INT64_MAX),
        };
        query_close(&query);
    }
    return query.failed ? -1 : got;
}

int company_read_origin(struct ledger *ledger, int64_t batch_id, struct company *company, struct fault *fault) {
    static const char sql[] = "SELECT with_batch_id, t_ms FROM company WHERE batch_id = ? AND split_off = 1"
                              " ORDER BY company_id LIMIT 1";
    struct query query;
    int got;

    query_open_sql(&query, ledger, sql, "read what a batch was split off", fault);
    query_put_int(&query, batch_id);
    got = query_step(&query);
    if (got == 1) {
        *company = (struct company){
            .batch_id = batch_id,
            .with_batch_id = query_get_int(&query, 0, 1, INT64_MAX),
            .split_off = true,
            .t_ms = query_get_int(&query, 1, INT64_MIN, INT64_MAX),
        };
        query_close(&query);
    }
    return query.failed ? -1 : got;
}

int64_t *company_list(struct ledger *ledger, int64_t batch_id, size_t *count, struct fault *fault) {
    static const char sql[] =
        "WITH joined AS (SELECT batch_id, with_batch_id FROM company c WHERE together = 1 AND company_id ="
        " (SELECT max(company_id) FROM company n WHERE n.batch_id = c.batch_id)),"
        " named AS (SELECT coalesce((SELECT with_batch_id FROM joined WHERE batch_id = ?1), ?1) AS name)"
        " SELECT b.batch_id FROM batch b JOIN named WHERE b.closed_ms IS NULL AND b.batch_id <> ?1 AND"
        " coalesce((SELECT with_batch_id FROM joined j WHERE j.batch_id = b.batch_id), b.batch_id) = named.name"
        " ORDER BY b.batch_id";
    struct list list;
    struct query query;

    list_query_sql(&list, &query, sizeof(int64_t), ledger, sql, "list who goes with whom", fault);
    query_put_int(&query, batch_id);
    for (int64_t *other; (other = list_step(&list, &query)) != NULL;) {
        *other = query_get_int(&query, 0, 1, INT64_MAX);
    }
    return list_close(&list, &query, count);
}
