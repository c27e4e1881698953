/* SPDX-License-Identifier: MIT */
/* What the chain did and saw on the way. Stretches are kept as far as a span was derived, and read as one again. */
#include "base/timestamp.h"
#include "store/database.h"

#include <math.h>
#include <string.h>

/* No piece is longer: what is derived at once is not. Bounds the search to what lies near. */
#define LONGEST_PIECE (100 * DAY_MS)

#define FINDING_COLUMNS "from_, to_, kind, quantity, value, uncertainty, wants_hand, text"

static bool remove_inside(struct store *store, uint32_t place, uint32_t kinds, struct span span, struct error *error);
static int64_t longest_before(int64_t time);
static struct finding read_finding(struct arena *arena, sqlite3_stmt *row);
static bool continues(const struct finding *before, const struct finding *after);
static bool is_same_number(double a, double b);

bool store_findings_replace(struct store *store, uint32_t place, uint32_t kinds, struct span span,
                            const struct finding *list, size_t n, struct error *error)
{
    bool ok = span.from >= span.to || remove_inside(store, place, kinds, span, error);
    for (size_t i = 0; ok && i < n; i++) {
        const struct finding *f = &list[i];
        int64_t from = f->span.from < span.from ? span.from : f->span.from;
        int64_t to = f->span.to > span.to ? span.to : f->span.to;
        if (!(kinds >> f->kind & 1) || from >= to)
            continue;
        ok = database_run(store, error,
                          "INSERT OR REPLACE INTO finding(place, " FINDING_COLUMNS
                          ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9)",
                          "iiiiiddit", (int64_t)place, from, to, (int64_t)f->kind, quantity_number(f->quantity),
                          f->value, f->uncertainty, (int64_t)f->wants_hand, f->text);
    }
    return ok;
}

bool store_findings_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct finding **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " FINDING_COLUMNS " FROM finding"
                                       " WHERE place = ?1 AND from_ > ?4 AND from_ < ?3 AND to_ > ?2"
                                       " ORDER BY kind, quantity < 0, quantity, from_, text",
                                       "iiii", (int64_t)place, span.from, span.to, longest_before(span.from));
    struct finding *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        struct finding finding = read_finding(arena, row);
        finding.span.from = finding.span.from < span.from ? span.from : finding.span.from;
        finding.span.to = finding.span.to > span.to ? span.to : finding.span.to;
        if (n > 0 && continues(&list[n - 1], &finding)) {
            list[n - 1].span.to = finding.span.to;
            continue;
        }
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = finding;
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

/* What reaches over the edges keeps the parts outside. */
static bool remove_inside(struct store *store, uint32_t place, uint32_t kinds, struct span span, struct error *error)
{
    return database_run(store, error,
                        "INSERT OR REPLACE INTO finding(place, " FINDING_COLUMNS ")"
                        " SELECT place, ?2, to_, kind, quantity, value, uncertainty, wants_hand, text FROM finding"
                        " WHERE place = ?1 AND from_ > ?4 AND from_ < ?2 AND to_ > ?2 AND (?3 >> kind) & 1 = 1",
                        "iiii", (int64_t)place, span.to, (int64_t)kinds, longest_before(span.to)) &&
           database_run(store, error,
                        "UPDATE finding SET to_ = ?2"
                        " WHERE place = ?1 AND from_ > ?4 AND from_ < ?2 AND to_ > ?2 AND (?3 >> kind) & 1 = 1",
                        "iiii", (int64_t)place, span.from, (int64_t)kinds, longest_before(span.from)) &&
           database_run(store, error,
                        "DELETE FROM finding WHERE place = ?1 AND from_ >= ?2 AND from_ < ?3 AND (?4 >> kind) & 1 = 1",
                        "iiii", (int64_t)place, span.from, span.to, (int64_t)kinds);
}

static int64_t longest_before(int64_t time)
{
    return time > INT64_MIN + LONGEST_PIECE ? time - LONGEST_PIECE : INT64_MIN;
}

static struct finding read_finding(struct arena *arena, sqlite3_stmt *row)
{
    return (struct finding){.span = {sqlite3_column_int64(row, 0), sqlite3_column_int64(row, 1)},
                            .kind = (enum finding_kind)sqlite3_column_int(row, 2),
                            .quantity = column_quantity(row, 3),
                            .value = column_number(row, 4),
                            .uncertainty = column_number(row, 5),
                            .wants_hand = sqlite3_column_int(row, 6) != 0,
                            .text = column_text(arena, row, 7)};
}

/* The same, with no more than a pause of the rows between. */
static bool continues(const struct finding *before, const struct finding *after)
{
    return 1u << before->kind & FINDINGS_OF_A_STRETCH && before->kind == after->kind &&
           before->quantity == after->quantity && before->wants_hand == after->wants_hand &&
           after->span.from - before->span.to <= FINDING_PAUSE && is_same_number(before->value, after->value) &&
           strcmp(before->text, after->text) == 0;
}

static bool is_same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}
