/* SPDX-License-Identifier: MIT */
#include "service/review_command.h"

#include "base/timestamp.h"
#include "service/account.h"
#include "service/month_word.h"
#include "service/review.h"
#include "service/wake.h"

#include <string.h>

enum { MOST_WORDS = 1000, LONGEST_SHOWN = 2048 };

struct job {
    const struct config *config;
    const struct review_options *options;
    struct store *store;
    struct arena *arena;
    struct text *ret;
};

static bool list(struct job *job, bool *ret_needs_hand, struct error *error);
static bool list_station(struct job *job, const struct station *station, size_t *listed, struct error *error);
static void put_review(struct job *job, const struct station *station, const struct review_fact *review);
static bool list_held(struct job *job, bool *ret_needs_hand, struct error *error);
static bool say(struct job *job, struct error *error);
static bool read_span(const struct job *job, const struct station *station, struct span *ret, struct error *error);
static void put_span(struct job *job, struct span span);
static void put_visible(struct text *ret, const char *words);

bool review_command_run(const struct config *config, const struct review_options *options, struct text *ret,
                        bool *ret_needs_hand, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct job job = {.config = config, .options = options, .arena = arena, .ret = ret};
    bool is_list = options->word_count == 0;
    if (is_list && (options->is_reopening || options->reason || options->who))
        return fail(error, ERROR_INPUT,
                    "'review' needs STATION MONTH or STATION FROM TO with --who, --reason, --reopen");
    job.store = is_list ? store_open_to_read(config->state, error) : store_open_to_answer(config->state, error);
    bool ok = job.store && (is_list ? list(&job, ret_needs_hand, error) : say(&job, error));
    store_close(job.store);
    return ok;
}

/* ---- list ---- */

static bool list(struct job *job, bool *ret_needs_hand, struct error *error)
{
    size_t listed = 0;
    text_puts(job->ret, job->options->as_json ? "{\"reviews\":[" : "");
    for (size_t i = 0; i < job->config->station_count; i++)
        if (!list_station(job, &job->config->stations[i], &listed, error))
            return false;
    if (listed == 0 && !job->options->as_json)
        text_puts(job->ret, "nothing was reviewed: every record is provisional\n");
    text_puts(job->ret, job->options->as_json ? "],\"held\":[" : "");
    if (!list_held(job, ret_needs_hand, error))
        return false;
    text_puts(job->ret, job->options->as_json ? "]}\n" : "");
    return true;
}

static bool list_station(struct job *job, const struct station *station, size_t *listed, struct error *error)
{
    struct place_fact fact;
    struct review_fact *reviews;
    size_t n;
    if (!store_place_find(job->store, station->id, job->arena, &fact, error) ||
        !store_reviews_newest(job->store, fact.number, MOST_WORDS, job->arena, &reviews, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        text_puts(job->ret, job->options->as_json && *listed > 0 ? "," : "");
        put_review(job, station, &reviews[k]);
        (*listed)++;
    }
    return true;
}

static void put_review(struct job *job, const struct station *station, const struct review_fact *review)
{
    struct text *ret = job->ret;
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE], said[TIMESTAMP_SIZE];
    if (job->options->as_json) {
        text_printf(ret, "{\"station\":\"%s\",\"from\":\"%s\",\"to\":\"%s\",\"said\":\"%s\",\"state\":\"%s\",\"who\":",
                    station->id, timestamp_print(review->span.from, from), timestamp_print(review->span.to, to),
                    timestamp_print(review->said, said),
                    record_state_word(review->is_reopening ? RECORD_PROVISIONAL : RECORD_REVIEWED));
        text_json(ret, review->who);
        text_puts(ret, ",\"why\":");
        text_json(ret, review->why);
        text_putc(ret, '}');
        return;
    }
    text_printf(ret, "%-22s ", station->id);
    put_span(job, review->span);
    text_printf(ret, "  %s, said at %s by ", review->is_reopening ? "provisional again" : "reviewed",
                timestamp_print(review->said, said));
    put_visible(ret, review->who);
    text_puts(ret, *review->why ? ": " : "");
    put_visible(ret, review->why);
    text_putc(ret, '\n');
}

static bool list_held(struct job *job, bool *ret_needs_hand, struct error *error)
{
    struct waiting_span *held;
    size_t n;
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
    if (!store_held_load(job->store, 0, job->arena, &held, &n, error))
        return false;
    *ret_needs_hand |= n > 0;
    if (job->options->as_json) {
        for (size_t k = 0; k < n; k++)
            text_printf(job->ret, "%s{\"station\":\"%s\",\"from\":\"%s\",\"to\":\"%s\",\"would_change\":\"%s\"}",
                        k ? "," : "", held[k].key, timestamp_print(held[k].span.from, from),
                        timestamp_print(held[k].span.to, to), held[k].reason);
        return true;
    }
    text_puts(job->ret, n > 0 ? "\nheld: later facts would change what was reviewed\n" : "");
    for (size_t k = 0; k < n; k++) {
        text_printf(job->ret, "%-22s ", held[k].key);
        put_span(job, held[k].span);
        text_printf(job->ret, "  %s\n", held[k].reason);
    }
    text_puts(job->ret,
              n > 0 ? "'rillward review STATION FROM TO' takes them in; --reopen makes the span provisional\n" : "");
    return true;
}

/* ---- a person's word ---- */

static bool say(struct job *job, struct error *error)
{
    const struct review_options *options = job->options;
    size_t s = config_find_station(job->config, options->words[0]);
    if (s == job->config->station_count)
        return fail(error, ERROR_INPUT, "there is no station '%.60s' in the settings", options->words[0]);
    const struct station *station = &job->config->stations[s];
    struct review_fact review = {.is_reopening = options->is_reopening,
                                 .who = options->who ? options->who : account_name(job->arena),
                                 .why = options->reason ? options->reason : "",
                                 .said = options->now};
    if (!read_span(job, station, &review.span, error))
        return false;
    if (review.is_reopening && !*review.why)
        return fail(error, ERROR_INPUT, "--reopen needs --reason TEXT, for whoever reads the record");
    if (!store_begin(job->store, __func__, error))
        return false;
    if (!review_say(job->store, job->arena, station->id, &review, error) || !store_commit(job->store, error)) {
        store_rollback(job->store);
        return false;
    }
    if (review.span.from == review.span.to)
        return fail(error, ERROR_INPUT, "station '%s' has no record in that span: nothing to say of it", station->id);
    wake_ring(job->config->state);
    put_review(job, station, &review);
    text_puts(job->ret, options->as_json ? "\n" : "");
    return true;
}

static bool read_span(const struct job *job, const struct station *station, struct span *ret, struct error *error)
{
    char **words = job->options->words;
    if (job->options->word_count == 2) {
        if (month_word_read(words[1], station->utc_offset, ret))
            return true;
        return fail(error, ERROR_INPUT, "'%.40s' is no month: expected one such as 2026-03", words[1]);
    }
    if (job->options->word_count != 3)
        return fail(error, ERROR_INPUT, "'review' needs STATION MONTH or STATION FROM TO");
    if (!timestamp_parse(words[1], strlen(words[1]), &ret->from) ||
        !timestamp_parse(words[2], strlen(words[2]), &ret->to))
        return fail(error, ERROR_INPUT, "'%.40s' to '%.40s' is no span: expected times such as 2026-03-01T00:00:00Z",
                    words[1], words[2]);
    if (ret->from >= ret->to)
        return fail(error, ERROR_INPUT, "the span ends at %.40s, before it begins", words[2]);
    return true;
}

static void put_span(struct job *job, struct span span)
{
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
    text_printf(job->ret, "%s to %s", timestamp_print(span.from, from), timestamp_print(span.to, to));
}

static void put_visible(struct text *ret, const char *words)
{
    char shown[LONGEST_SHOWN];
    text_make_visible(words, shown, sizeof shown);
    text_puts(ret, shown);
}
