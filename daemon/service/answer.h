/* SPDX-License-Identifier: MIT */
/* What people do with alarms: acknowledge, shelve, take off the shelf. Each answer is a step of the lifecycle, stored
 * with who, when and what. The functions stand in the caller's transaction, so that the service and a command beside it
 * never overwrite each other.
 *
 * Shelving is about a rule at a station: the alarm that is named, and whatever the rule raises there until the time is
 * over. What is still so then is announced and needs an answer again. */
#ifndef RILLWARD_SERVICE_ANSWER_H
#define RILLWARD_SERVICE_ANSWER_H

#include "service/tell.h"

enum answer_kind { ANSWER_ACKNOWLEDGE, ANSWER_SHELVE, ANSWER_UNSHELVE, ANSWER_KIND_COUNT };
const char *answer_kind_word(enum answer_kind kind); /* "acknowledge", "shelve", "unshelve" */
enum answer_kind answer_kind_find(const char *word); /* ANSWER_KIND_COUNT where unknown */

struct answer {
    int64_t alarm; /* its number */
    enum answer_kind kind;
    int64_t until;      /* ANSWER_SHELVE */
    const char *who;    /* not empty */
    const char *reason; /* ANSWER_SHELVE: not empty; else may be "" */
    int64_t written;    /* when, where that was before now (a file), else 0. It answers no alarm learnt of later */
};

/* INPUT error where it cannot be done: no such alarm, no name, nothing to shelve, a time that is past or too far, no
 * reason. `ret_said` (arena): what became of it, also where there was nothing to do. */
bool answer_give(const struct teller *teller, const struct answer *answer, int64_t now, const char **ret_said,
                 struct error *error);

/* Take an alarm's shelf away: what is still so is announced. */
bool answer_end_shelf(const struct teller *teller, struct alarm *alarm, const char *who, const char *what, int64_t now,
                      struct error *error);

/* A shelf's end as people write it: a time with its zone ("2026-04-22T18:00:00Z") or a duration from now ("8 h"). */
bool answer_parse_until(const char *text, int64_t now, int64_t *ret, struct error *error);

#endif
