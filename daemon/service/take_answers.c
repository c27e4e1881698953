/* SPDX-License-Identifier: MIT */
#include "service/take_answers.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "intake/read_answers.h"
#include "service/answer.h"

#include <inttypes.h>
#include <string.h>

enum { SAID_LIMIT = 16384 };

static bool is_trusted(const struct config *config, const char *path);
static bool give_line(const struct teller *t, const char *path, const struct answer_line *line, int64_t written,
                      int64_t now, struct answers_taken *ret, struct text *said, struct error *error);
static bool understand(const struct teller *t, const char *path, const struct answer_line *line, int64_t written,
                       int64_t now, struct answer *ret, struct error *error);

bool answers_are_in(const struct config *config, const char *path)
{
    return answers_is_name(path) || is_trusted(config, path);
}

bool answers_take(const struct teller *t, const char *path, const char *bytes, size_t length, bool open_end_is_fine,
                  int64_t written, int64_t now, struct answers_taken *ret, struct error *error)
{
    struct answer_line *lines;
    *ret = (struct answers_taken){.said = ""};
    if (!is_trusted(t->config, path))
        return fail(error, ERROR_INPUT,
                    "answers are not taken from here: 'answers' under 'alarms' in the settings says which files may "
                    "answer alarms%s",
                    t->config->answers.count ? "" : ", and it names none");
    if (!answers_read(t->arena, bytes, length, &lines, &ret->lines, &ret->ends_open, error))
        return false;
    ret->ends_open &= !open_end_is_fine;
    if (ret->ends_open)
        return true;
    CLEANUP(text_done) struct text said;
    text_init(&said, SAID_LIMIT);
    for (size_t k = 0; k < ret->lines; k++)
        if (!give_line(t, path, &lines[k], written, now, ret, &said, error))
            return false;
    ret->said = arena_strdup(t->arena, said.bytes ? said.bytes : "");
    return true;
}

bool answers_remember(const struct teller *t, const char *path, const char *bytes, size_t length, int64_t arrived,
                      size_t *ret_lines, struct error *error)
{
    struct answer_line *lines;
    bool ends_open;
    if (!answers_read(t->arena, bytes, length, &lines, ret_lines, &ends_open, error))
        return false;
    for (size_t k = 0; k < *ret_lines; k++) {
        bool is_known;
        const struct answer_fact fact = {.path = path,
                                         .line = lines[k].line,
                                         .key = lines[k].key,
                                         .at = arrived,
                                         .who = lines[k].who,
                                         .said = "heard before the database was lost"};
        if (!store_answer_is_known(t->store, path, lines[k].key, &is_known, error) ||
            (!is_known && !store_answer_add(t->store, &fact, error)))
            return false;
    }
    return true;
}

static bool is_trusted(const struct config *config, const char *path)
{
    for (size_t k = 0; k < config->answers.count; k++)
        if (text_matches(config->answers.words[k], path, false))
            return true;
    return false;
}

/* What a line says can be wrong; that is told, and the others are heard. */
static bool give_line(const struct teller *t, const char *path, const struct answer_line *line, int64_t written,
                      int64_t now, struct answers_taken *ret, struct text *said, struct error *error)
{
    bool is_known;
    struct answer answer;
    struct error why = {0};
    const char *words = "";
    if (!store_answer_is_known(t->store, path, line->key, &is_known, error))
        return false;
    if (is_known)
        return true;
    bool is_given =
        understand(t, path, line, written, now, &answer, &why) && answer_give(t, &answer, now, &words, &why);
    if (!is_given && why.kind != ERROR_INPUT) {
        *error = why;
        return false;
    }
    ret->given += is_given;
    ret->refused += !is_given;
    if (!is_given)
        text_printf(said, "%sline %" PRIu32 ": %s", said->length ? "\n" : "", line->line, why.text);
    const struct answer_fact fact = {.path = path,
                                     .line = line->line,
                                     .key = line->key,
                                     .at = now,
                                     .who = line->who,
                                     .said = is_given ? words : why.text,
                                     .is_given = is_given};
    return store_answer_add(t->store, &fact, error);
}

static bool understand(const struct teller *t, const char *path, const struct answer_line *line, int64_t written,
                       int64_t now, struct answer *ret, struct error *error)
{
    *ret = (struct answer){
        .kind = answer_kind_find(line->answer), .until = TIME_NONE, .reason = line->reason, .written = written};
    if (!text_parse_integer(line->alarm, strlen(line->alarm), &ret->alarm) || ret->alarm <= 0)
        return fail(error, ERROR_INPUT, "'%.40s' is no number of an alarm", line->alarm);
    if (ret->kind == ANSWER_KIND_COUNT)
        return fail(error, ERROR_INPUT, "'%.40s' is no answer, expected acknowledge, shelve or unshelve", line->answer);
    if (ret->kind == ANSWER_SHELVE && !*line->until)
        return fail(error, ERROR_INPUT, "shelving needs its end in the column 'until', such as '8 h'");
    if (*line->until && !answer_parse_until(line->until, now, &ret->until, error))
        return false;
    ret->who = *line->who ? arena_printf(t->arena, "%s, by %s", line->who, path) : "";
    return true;
}
