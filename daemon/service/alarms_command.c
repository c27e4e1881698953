/* SPDX-License-Identifier: MIT */
#include "service/alarms_command.h"

#include "alarms/lifecycle.h"
#include "base/timestamp.h"
#include "service/account.h"
#include "service/answer.h"
#include "service/try_recipient.h"
#include "service/wake.h"
#include "store/store.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

struct job {
    const struct config *config;
    const struct alarms_options *options;
    struct store *store;
    struct arena *arena;
    struct text *ret;
};

static bool list_alarms(struct job *job, bool *ret_needs_hand, struct error *error);
static void put_alarm_line(struct job *job, const struct alarm *alarm);
static void put_shelves(struct job *job, const struct alarm *shelved, size_t n);
static void put_value(struct job *job, const struct alarm *alarm, struct text *ret);
static bool give_answers(struct job *job, enum answer_kind kind, struct error *error);
static bool give_answer(struct job *job, const struct answer *answer, struct error *error);
static bool check_use(const struct alarms_options *options, enum answer_kind kind, struct error *error);
static bool tell_history(struct job *job, struct error *error);
static void put_step_line(struct job *job, const struct step_fact *step);
static void put_notice_line(struct job *job, const struct notice_fact *notice);
static const char *notice_state_text(const struct notice_fact *notice);
static bool read_id(const char *word, int64_t *ret, struct error *error);
static void json_alarm(struct job *job, const struct alarm *alarm);
static void json_time(struct text *ret, const char *key, int64_t time);
static void json_text(struct text *ret, const char *key, const char *value);
static void json_number(struct text *ret, const char *key, double value, int decimals);
static void put_visible(struct text *ret, const char *text);

bool alarms_command_run(const struct config *config, const struct alarms_options *options, struct text *ret,
                        bool *ret_needs_hand, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct job job = {.config = config, .options = options, .arena = arena, .ret = ret};
    const char *word = options->word_count > 0 ? options->words[0] : "list";
    enum answer_kind kind = answer_kind_find(word);
    bool is_list = strcmp(word, "list") == 0, is_history = strcmp(word, "history") == 0;
    bool is_test = strcmp(word, "test") == 0;
    if (kind == ANSWER_KIND_COUNT && !is_list && !is_history && !is_test)
        return fail(error, ERROR_INPUT,
                    "'alarms' does not know '%.40s': expected list, acknowledge, shelve, unshelve, history or test",
                    word);
    if (kind != ANSWER_KIND_COUNT && !check_use(options, kind, error))
        return false;
    bool writes = kind != ANSWER_KIND_COUNT || is_test;
    job.store = writes ? store_open_to_answer(config->state, error) : store_open_to_read(config->state, error);
    bool ok = job.store && (is_test  ? try_recipients(config, job.store, options->words + 1, options->word_count - 1,
                                                      options->now, TRY_PATIENCE, ret, ret_needs_hand, error)
                            : writes ? give_answers(&job, kind, error)
                            : is_history ? tell_history(&job, error)
                                         : list_alarms(&job, ret_needs_hand, error));
    store_close(job.store);
    return ok;
}

/* ---- list ---- */

static bool list_alarms(struct job *job, bool *ret_needs_hand, struct error *error)
{
    struct alarm *list, *shelved;
    size_t n, shelved_count;
    if (job->options->word_count > 1)
        return fail(error, ERROR_INPUT, "'alarms list' takes no more words, found '%.40s'", job->options->words[1]);
    if (!store_alarms_open(job->store, job->arena, &list, &n, error) ||
        !store_alarms_shelved(job->store, job->arena, &shelved, &shelved_count, error))
        return false;
    for (size_t k = 0; k < n; k++)
        *ret_needs_hand |= list[k].state == ALARM_UNACKNOWLEDGED || list[k].state == ALARM_RETURNED_UNACKNOWLEDGED;
    if (job->options->as_json) {
        text_puts(job->ret, "{\"alarms\":[");
        for (size_t k = 0; k < n; k++) {
            text_puts(job->ret, k ? "," : "");
            json_alarm(job, &list[k]);
        }
        text_puts(job->ret, "]}\n");
        return true;
    }
    if (n == 0)
        text_puts(job->ret, "no open alarms\n");
    else
        text_printf(job->ret, "%6s  %-8s  %-22s  %-16s  %-20s  %s\n", "alarm", "priority", "place", "rule", "since",
                    "state");
    for (size_t k = 0; k < n; k++)
        put_alarm_line(job, &list[k]);
    put_shelves(job, shelved, shelved_count);
    return true;
}

static void put_alarm_line(struct job *job, const struct alarm *alarm)
{
    struct text *ret = job->ret;
    char start[TIMESTAMP_SIZE], place[256];
    size_t r = config_find_rule(job->config, alarm->rule);
    text_make_visible(alarm->station, place, sizeof place);
    text_printf(ret, "%6" PRId64 "  %-8s  %-22s  %-16s  %-20s  %s", alarm->id,
                r < job->config->rule_count ? priority_word(job->config->rules[r].priority) : "-", place, alarm->rule,
                timestamp_print(alarm->episode.start, start), alarm_state_word(alarm->state));
    if (alarm->state == ALARM_SHELVED) {
        if (alarm->shelved_until == TIME_FOREVER)
            text_puts(ret, ": ");
        else
            text_printf(ret, " until %s: ", timestamp_print(alarm->shelved_until, start));
        put_visible(ret, alarm->shelf_reason);
    }
    put_value(job, alarm, ret);
    if (alarm->times >= CHATTERING_TIMES)
        text_printf(ret, "; chattering: %" PRId64 " times", alarm->times);
    text_putc(ret, '\n');
}

/* A rule can be quiet at a place where nothing is open. */
static void put_shelves(struct job *job, const struct alarm *shelved, size_t n)
{
    char until[TIMESTAMP_SIZE];
    for (size_t k = 0; k < n; k++) {
        if (shelved[k].state == ALARM_SHELVED || shelved[k].shelved_until <= job->options->now ||
            shelved[k].shelved_until == TIME_FOREVER)
            continue; /* a station that is out of service says so itself */
        text_printf(job->ret, "rule %s is shelved at ", shelved[k].rule);
        put_visible(job->ret, shelved[k].station);
        text_printf(job->ret, " until %s (alarm %" PRId64 "): ", timestamp_print(shelved[k].shelved_until, until),
                    shelved[k].id);
        put_visible(job->ret, shelved[k].shelf_reason);
        text_putc(job->ret, '\n');
    }
}

static void put_value(struct job *job, const struct alarm *alarm, struct text *ret)
{
    size_t r = config_find_rule(job->config, alarm->rule);
    bool has_quantity = r < job->config->rule_count && job->config->rules[r].quantity < QUANTITY_COUNT;
    if (*alarm->episode.detail) {
        text_puts(ret, "; ");
        put_visible(ret, alarm->episode.detail);
    } else if (has_quantity) {
        const struct quantity_info *info = quantity_info(job->config->rules[r].quantity);
        int decimals = info->decimals > 2 ? 2 : info->decimals;
        const char *unit = strcmp(info->unit, "1") == 0 ? "" : info->unit;
        text_printf(ret, "; worst %.*f %s, last %.*f %s", decimals, alarm->episode.worst * info->scale, unit, decimals,
                    alarm->episode.last * info->scale, unit);
    }
}

/* ---- answers ---- */

static bool check_use(const struct alarms_options *options, enum answer_kind kind, struct error *error)
{
    const char *word = answer_kind_word(kind);
    if (options->word_count < 2)
        return fail(error, ERROR_INPUT, "'alarms %s' needs the number of an alarm", word);
    if (kind == ANSWER_SHELVE && (!options->until || !options->reason))
        return fail(error, ERROR_INPUT, "'alarms shelve' needs --until TIME or DURATION and --reason TEXT");
    if (kind != ANSWER_SHELVE && options->until)
        return fail(error, ERROR_INPUT, "--until belongs to 'alarms shelve'");
    return true;
}

static bool give_answers(struct job *job, enum answer_kind kind, struct error *error)
{
    const struct alarms_options *options = job->options;
    struct answer answer = {.kind = kind,
                            .until = TIME_NONE,
                            .who = options->who ? options->who : account_name(job->arena),
                            .reason = options->reason ? options->reason : ""};
    if (options->until && !answer_parse_until(options->until, options->now, &answer.until, error))
        return false;
    for (int k = 1; k < options->word_count; k++)
        if (!read_id(options->words[k], &answer.alarm, error) || !give_answer(job, &answer, error))
            return false;
    return true;
}

static bool give_answer(struct job *job, const struct answer *answer, struct error *error)
{
    const struct teller teller = {job->config, job->store, job->arena};
    const char *said = "";
    if (!store_begin(job->store, __func__, error))
        return false;
    if (!answer_give(&teller, answer, job->options->now, &said, error) || !store_commit(job->store, error)) {
        store_rollback(job->store);
        return false;
    }
    wake_ring(job->config->state);
    if (!job->options->as_json) {
        text_printf(job->ret, "%s\n", said);
        return true;
    }
    struct alarm alarm;
    bool is_found;
    if (!store_alarm_find(job->store, answer->alarm, job->arena, &alarm, &is_found, error))
        return false;
    json_alarm(job, &alarm);
    text_putc(job->ret, '\n');
    return true;
}

static bool read_id(const char *word, int64_t *ret, struct error *error)
{
    if (text_parse_integer(word, strlen(word), ret) && *ret > 0)
        return true;
    return fail(error, ERROR_INPUT, "'%.40s' is no number of an alarm: 'rillward alarms' lists them", word);
}

/* ---- history ---- */

static bool tell_history(struct job *job, struct error *error)
{
    int64_t id;
    struct alarm alarm;
    bool is_found;
    struct step_fact *steps;
    struct notice_fact *notices;
    size_t step_count, notice_count;
    if (job->options->word_count != 2)
        return fail(error, ERROR_INPUT, "'alarms history' needs the number of one alarm");
    if (!read_id(job->options->words[1], &id, error) ||
        !store_alarm_find(job->store, id, job->arena, &alarm, &is_found, error))
        return false;
    if (!is_found)
        return fail(error, ERROR_INPUT, "there is no alarm %" PRId64, id);
    if (!store_alarm_steps(job->store, id, job->arena, &steps, &step_count, error) ||
        !store_notices_of_alarm(job->store, id, job->arena, &notices, &notice_count, error))
        return false;
    if (!job->options->as_json)
        put_alarm_line(job, &alarm);
    else
        json_alarm(job, &alarm), job->ret->length--, text_puts(job->ret, ",\"steps\":[");
    for (size_t k = 0, m = 0; k < step_count || m < notice_count;) {
        bool is_step = m == notice_count || (k < step_count && steps[k].at <= notices[m].created);
        if (is_step)
            put_step_line(job, &steps[k++]);
        else
            put_notice_line(job, &notices[m++]);
        if (job->options->as_json && (k < step_count || m < notice_count))
            text_putc(job->ret, ',');
    }
    text_puts(job->ret, job->options->as_json ? "]}\n" : "");
    return true;
}

static void put_step_line(struct job *job, const struct step_fact *step)
{
    char at[TIMESTAMP_SIZE];
    if (job->options->as_json) {
        text_puts(job->ret, "{\"is\":\"step\"");
        json_time(job->ret, "at", step->at);
        json_text(job->ret, "who", step->who);
        json_text(job->ret, "what", step->what);
        json_text(job->ret, "state", alarm_state_word(step->state));
        text_putc(job->ret, '}');
        return;
    }
    text_printf(job->ret, "  %s  ", timestamp_print(step->at, at));
    put_visible(job->ret, step->who);
    text_puts(job->ret, ": ");
    put_visible(job->ret, step->what);
    text_printf(job->ret, " (%s)\n", alarm_state_word(step->state));
}

static void put_notice_line(struct job *job, const struct notice_fact *notice)
{
    char at[TIMESTAMP_SIZE];
    if (job->options->as_json) {
        text_puts(job->ret, "{\"is\":\"notice\"");
        json_time(job->ret, "at", notice->created);
        json_text(job->ret, "to", notice->recipient);
        json_text(job->ret, "event", notice_event_word(notice->event));
        json_text(job->ret, "delivery", notice_state_text(notice));
        json_time(job->ret, "delivered_at", notice->delivered);
        text_printf(job->ret, ",\"attempts\":%" PRId64 ",\"together_with_others\":%s", notice->attempts,
                    notice->is_gathered ? "true" : "false");
        json_text(job->ret, "answer", notice->answer);
        text_putc(job->ret, '}');
        return;
    }
    text_printf(job->ret, "  %s  to %s: %s%s; %s", timestamp_print(notice->created, at), notice->recipient,
                notice_event_word(notice->event), notice->is_gathered ? ", together with others" : "",
                notice_state_text(notice));
    if (notice->delivered != TIME_NONE)
        text_printf(job->ret, " %s", timestamp_print(notice->delivered, at));
    if (notice->state != NOTICE_DELIVERED && *notice->answer) {
        text_puts(job->ret, ": ");
        put_visible(job->ret, notice->answer);
    }
    text_putc(job->ret, '\n');
}

static const char *notice_state_text(const struct notice_fact *notice)
{
    switch (notice->state) {
    case NOTICE_DELIVERED: return "delivered";
    case NOTICE_GIVEN_UP: return "given up";
    case NOTICE_GATHERED:
    case NOTICE_DUE: break;
    }
    return notice->attempts > 0 ? "tried, and will be again" : "waits to be sent";
}

/* ---- JSON: keys only get added ---- */

static void json_alarm(struct job *job, const struct alarm *alarm)
{
    struct text *ret = job->ret;
    size_t r = config_find_rule(job->config, alarm->rule);
    const struct rule *rule = r < job->config->rule_count ? &job->config->rules[r] : NULL;
    const struct quantity_info *info = rule && rule->quantity < QUANTITY_COUNT ? quantity_info(rule->quantity) : NULL;
    text_printf(ret, "{\"alarm\":%" PRId64, alarm->id);
    json_text(ret, "place", alarm->station);
    json_text(ret, "rule", alarm->rule);
    json_text(ret, "title", rule ? rule->title : NULL);
    json_text(ret, "priority", rule ? priority_word(rule->priority) : NULL);
    json_text(ret, "state", alarm_state_word(alarm->state));
    json_time(ret, "happened_at", alarm->episode.start);
    json_time(ret, "raised_at", alarm->episode.raised);
    json_time(ret, "ended_at", alarm->episode.end);
    json_time(ret, "learnt_at", alarm->learnt);
    json_time(ret, "last_at", alarm->episode.last_time);
    json_text(ret, "unit", info ? info->unit : NULL);
    json_number(ret, "worst", info ? alarm->episode.worst * info->scale : NAN, info ? info->decimals : 0);
    json_number(ret, "last", info ? alarm->episode.last * info->scale : NAN, info ? info->decimals : 0);
    json_text(ret, "detail", alarm->episode.detail);
    text_printf(ret, ",\"old_news\":%s,\"times\":%" PRId64, alarm->is_old_news ? "true" : "false", alarm->times);
    json_time(ret, "answer_asked_since", alarm->asked);
    json_time(ret, "escalated_at", alarm->escalated);
    json_time(ret, "shelved_until", alarm->shelved_until);
    json_text(ret, "shelf_reason", alarm->shelved_until == TIME_NONE ? NULL : alarm->shelf_reason);
    text_putc(ret, '}');
}

static void json_time(struct text *ret, const char *key, int64_t time)
{
    char when[TIMESTAMP_SIZE];
    json_text(ret, key, time == TIME_NONE ? NULL : timestamp_print(time, when));
}

static void json_text(struct text *ret, const char *key, const char *value)
{
    text_printf(ret, ",\"%s\":", key);
    text_json(ret, value);
}

static void json_number(struct text *ret, const char *key, double value, int decimals)
{
    text_printf(ret, ",\"%s\":", key);
    if (isfinite(value))
        text_number(ret, value, decimals);
    else
        text_puts(ret, "null");
}

static void put_visible(struct text *ret, const char *text)
{
    char shown[2048];
    text_make_visible(text, shown, sizeof shown);
    text_puts(ret, shown);
}
