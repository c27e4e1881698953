/* SPDX-License-Identifier: MIT */
#include "config/check.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "config/address.h"
#include "config/options.h"
#include "config/parts.h"
#include "config/path.h"
#include "config/problems.h"
#include "config/template.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { LARGEST_SUGGESTED = 2000 }; /* names that are searched for a likeness */

/* One id or label that must not be taken twice. */
struct name {
    const char *text, *noun, *owner;
    struct place where;
};

struct checker {
    const struct config *config;
    const struct top_places *places;
    struct config_problems *problems;
};

static void check_ids(struct checker *checker);
static void complain_repeated(struct checker *checker, struct name *names, size_t count);
static int compare_names(const void *a, const void *b, void *main_file);
static void check_labels(struct checker *checker);
static void add_labels(struct name **names, size_t *count, size_t *capacity, const char *noun, const char *id,
                       const struct word_list *labels, struct place where);
static int compare_labels(const void *a, const void *b, void *main_file);
static void check_folders(struct checker *checker);
static void check_metrics(struct checker *checker);
static void check_network_url(struct checker *checker);
static void check_stations(struct checker *checker);
static void check_neighbours(struct checker *checker, const struct station *station);
static void check_patterns(struct checker *checker, const struct word_list *list, const char *noun, const char *id,
                           struct place where);
static void check_layout(struct checker *checker, const struct layout *layout);
static bool role_fits(enum layout_holds holds, enum column_role role);
static void check_rule(struct checker *checker, const struct rule *rule);
static void check_tell(struct checker *checker, const char *subject, const struct word_list *tell, struct place where);
static void check_limits(struct checker *checker, const struct rule *rule);
static void check_window(struct checker *checker, const struct rule *rule);
static void check_rule_station(struct checker *checker, const struct rule *rule, const char *word);
static bool may_watch_barometers(const struct rule *rule);
static void check_recipient(struct checker *checker, const struct recipient *recipient);
static void check_heartbeat(struct checker *checker);
static void check_webhook(struct checker *checker, const struct recipient *recipient);
static void check_mail(struct checker *checker);
static const char *station_id(const void *config, size_t index);
static const char *barometer_id(const void *config, size_t index);
static const char *recipient_id(const void *config, size_t index);

void config_check(const struct config *config, const struct top_places *places, struct config_problems *problems)
{
    struct checker checker = {.config = config, .places = places, .problems = problems};
    check_folders(&checker);
    if (config->metrics_file)
        check_metrics(&checker);
    check_network_url(&checker);
    check_ids(&checker);
    check_labels(&checker);
    check_stations(&checker);
    parts_check(config, places->part, problems);
    for (size_t i = 0; i < config->layout_count; i++)
        check_layout(&checker, &config->layouts[i]);
    for (size_t i = 0; i < config->rule_count; i++)
        check_rule(&checker, &config->rules[i]);
    for (size_t i = 0; i < config->recipient_count; i++)
        check_recipient(&checker, &config->recipients[i]);
    check_tell(&checker, "the digest", &config->digest_mail.tell, config->digest_mail.where);
    if (config->mail.host)
        check_mail(&checker);
    if (config->heartbeat.url)
        check_heartbeat(&checker);
}

/* Stations and barometers share one set of ids: both are places with a folder and a line in the status. */
static void check_ids(struct checker *checker)
{
    const struct config *config = checker->config;
    size_t places = config->station_count + config->barometer_count, n = 0;
    size_t total = places + config->layout_count + config->rule_count + config->recipient_count;
    struct name *names = x_array(total + 1, sizeof *names);
    for (size_t i = 0; i < config->station_count; i++)
        names[n++] = (struct name){config->stations[i].id, "station", NULL, config->stations[i].where};
    for (size_t i = 0; i < config->barometer_count; i++)
        names[n++] = (struct name){config->barometers[i].id, "barometer", NULL, config->barometers[i].where};
    complain_repeated(checker, names, n);
    n = 0;
    for (size_t i = 0; i < config->layout_count; i++)
        names[n++] = (struct name){config->layouts[i].id, "layout", NULL, config->layouts[i].where};
    complain_repeated(checker, names, n);
    n = 0;
    for (size_t i = 0; i < config->rule_count; i++)
        names[n++] = (struct name){config->rules[i].id, "rule", NULL, config->rules[i].where};
    complain_repeated(checker, names, n);
    n = 0;
    for (size_t i = 0; i < config->recipient_count; i++)
        names[n++] = (struct name){config->recipients[i].id, "recipient", NULL, config->recipients[i].where};
    complain_repeated(checker, names, n);
    free(names);
}

static void complain_repeated(struct checker *checker, struct name *names, size_t count)
{
    char *main_file = x_strdup(checker->places->main_file);
    qsort_r(names, count, sizeof *names, compare_names, main_file);
    free(main_file);
    for (size_t i = 1; i < count; i++)
        if (strcmp(names[i].text, names[i - 1].text) == 0)
            problem_add(checker->problems, names[i].where, "the id of %s '%s' is taken by a %s at %s:%d:%d",
                        names[i].noun, names[i].text, names[i - 1].noun, names[i - 1].where.file,
                        names[i - 1].where.line, names[i - 1].where.column);
}

static int compare_names(const void *a, const void *b, void *main_file)
{
    const struct name *one = a, *other = b;
    int order = strcmp(one->text, other->text);
    return order != 0 ? order : place_compare(one->where, other->where, main_file);
}

/* A label that two stations share (case ignored) claims a drop for both. A station and a barometer may share one: their
 * files differ by what they measure. */
static void check_labels(struct checker *checker)
{
    const struct config *config = checker->config;
    struct name *names = NULL;
    size_t count = 0, capacity = 0, stations;
    for (size_t i = 0; i < config->station_count; i++)
        add_labels(&names, &count, &capacity, "station", config->stations[i].id, &config->stations[i].labels,
                   config->stations[i].where);
    stations = count;
    for (size_t i = 0; i < config->barometer_count; i++)
        add_labels(&names, &count, &capacity, "barometer", config->barometers[i].id, &config->barometers[i].labels,
                   config->barometers[i].where);
    char *main_file = x_strdup(checker->places->main_file);
    if (stations > 0)
        qsort_r(names, stations, sizeof *names, compare_labels, main_file);
    if (count > stations)
        qsort_r(names + stations, count - stations, sizeof *names, compare_labels, main_file);
    free(main_file);
    for (size_t i = 1; i < count; i++)
        if (i != stations && strcasecmp(names[i].text, names[i - 1].text) == 0 &&
            strcmp(names[i].owner, names[i - 1].owner) != 0)
            problem_add(checker->problems, names[i].where, "label '%.60s' of %s '%s' is one of %s '%s' too (%s:%d:%d)",
                        names[i].text, names[i].noun, names[i].owner, names[i - 1].noun, names[i - 1].owner,
                        names[i - 1].where.file, names[i - 1].where.line, names[i - 1].where.column);
    free(names);
}

static void add_labels(struct name **names, size_t *count, size_t *capacity, const char *noun, const char *id,
                       const struct word_list *labels, struct place where)
{
    for (size_t i = 0; i <= labels->count; i++) {
        const char *text = i < labels->count ? labels->words[i] : id; /* files may name it by its id, too */
        *names = x_grow(*names, *count, capacity, sizeof **names);
        (*names)[(*count)++] = (struct name){text, noun, id, where};
    }
}

static int compare_labels(const void *a, const void *b, void *main_file)
{
    const struct name *one = a, *other = b;
    int order = strcasecmp(one->text, other->text);
    return order != 0 ? order : place_compare(one->where, other->where, main_file);
}

/* A record that is written into the inbox would come back as a drop. By name only: links are followed at start. */
static void check_folders(struct checker *checker)
{
    const struct config *config = checker->config;
    const struct top_places *places = checker->places;
    const struct {
        const char *key, *path;
        struct place where;
    } folders[] = {{"inbox", config->inbox, places->inbox},
                   {"archive", config->archive, places->archive},
                   {"state", config->state, places->state}};
    for (size_t i = 1; i < COUNT_OF(folders); i++)
        for (size_t j = 0; j < i; j++)
            if (folders[i].path && folders[j].path &&
                (path_is_inside(folders[i].path, folders[j].path) || path_is_inside(folders[j].path, folders[i].path)))
                problem_add(checker->problems, folders[i].where, "'%s' and '%s' must lie apart, found '%s' and '%s'",
                            folders[i].key, folders[j].key, folders[i].path, folders[j].path);
}

static void check_metrics(struct checker *checker)
{
    const struct config *config = checker->config;
    const char *path = config->metrics_file;
    const struct {
        const char *key, *path;
    } folders[] = {{"inbox", config->inbox}, {"archive", config->archive}};
    if (!text_ends_with(path, ".prom"))
        problem_add(checker->problems, checker->places->metrics,
                    "'file' of the metrics is '%.200s': collectors read files named '*.prom' only", path);
    for (size_t i = 0; i < COUNT_OF(folders); i++)
        if (folders[i].path && path_is_inside(path, folders[i].path))
            problem_add(checker->problems, checker->places->metrics,
                        "'file' of the metrics lies in the '%s' folder: expected a folder of its own", folders[i].key);
}

static void check_network_url(struct checker *checker)
{
    bool is_encrypted;
    struct error error;
    const char *url = checker->config->public_url;
    if (url && *url && !address_check_url(url, &is_encrypted, &error))
        problem_add(checker->problems, checker->places->url, "'url' of the network %s", error.text);
}

static void check_stations(struct checker *checker)
{
    const struct config *config = checker->config;
    for (size_t i = 0; i < config->station_count; i++) {
        const struct station *station = &config->stations[i];
        check_patterns(checker, &station->drops, "station", station->id, station->where);
        check_neighbours(checker, station);
        for (size_t k = 0; k < station->barometers.count; k++) {
            const char *id = station->barometers.words[k];
            if (config_find_barometer(config, id) < config->barometer_count)
                continue;
            const char *nearest =
                config->barometer_count < LARGEST_SUGGESTED ? option_nearest(id, barometer_id, config) : NULL;
            problem_add(checker->problems, station->where, "station '%s' names the unknown barometer '%.60s'%s%s%s",
                        station->id, id, nearest ? ", expected '" : ": expected one of 'barometers'",
                        nearest ? nearest : "", nearest ? "'" : "");
        }
    }
    for (size_t i = 0; i < config->barometer_count; i++)
        check_patterns(checker, &config->barometers[i].drops, "barometer", config->barometers[i].id,
                       config->barometers[i].where);
}

/* A neighbour for all stations names itself at one of them: there the test is off. */
static void check_neighbours(struct checker *checker, const struct station *station)
{
    const struct config *config = checker->config;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        if (!limits.neighbour || config_find_station(config, limits.neighbour->station) < config->station_count)
            continue;
        const char *nearest = config->station_count < LARGEST_SUGGESTED
                                  ? option_nearest(limits.neighbour->station, station_id, config)
                                  : NULL;
        problem_add(checker->problems, station->where,
                    "'neighbour' of %s of station '%s' names the unknown station '%.60s'%s%s%s", quantity_info(q)->key,
                    station->id, limits.neighbour->station, nearest ? ", expected '" : "", nearest ? nearest : "",
                    nearest ? "'" : "");
    }
}

static void check_patterns(struct checker *checker, const struct word_list *list, const char *noun, const char *id,
                           struct place where)
{
    for (size_t i = 0; i < list->count; i++) {
        const char *word = list->words[i];
        if (word[0] == '/' || text_starts_with(word, "./") || text_starts_with(word, "../"))
            problem_add(checker->problems, where,
                        "%s '%s' has the path pattern '%.60s', which matches nothing: expected one below the inbox, "
                        "such as 'north/*.csv'",
                        noun, id, word);
    }
}

static void check_layout(struct checker *checker, const struct layout *layout)
{
    bool has_values = false;
    const char *holds = layout->holds == LAYOUT_NOTES ? "notes" : "readings";
    check_patterns(checker, &layout->files, "layout", layout->id, layout->where);
    for (size_t i = 0; i < layout->column_count; i++) {
        const struct column *column = &layout->columns[i];
        has_values =
            has_values || column->role == COLUMN_QUANTITY || column->role == COLUMN_NOTE || column->role == COLUMN_KIND;
        if (role_fits(layout->holds, column->role))
            continue;
        const char *word = column->role == COLUMN_QUANTITY ? quantity_info(column->quantity)->key
                                                           : column_role_choice((int)column->role);
        problem_add(checker->problems, column->where, "layout '%s' holds %s, a column of them is not '%s'%s",
                    layout->id, holds, word,
                    layout->holds == LAYOUT_NOTES
                        ? ": expected 'is: note', as in {is: note, note: check, quantity: ...}"
                        : ": expected 'holds: notes', or another 'is'");
    }
    if (!has_values && layout->column_count > 0)
        problem_add(checker->problems, layout->where, "layout '%s' has no column %s", layout->id,
                    layout->holds == LAYOUT_NOTES ? "of notes: expected one with 'is: note' or 'is: kind'"
                                                  : "of a quantity: expected one such as 'is: water_pressure'");
    if (layout->holds == LAYOUT_READINGS && (layout->kind_count > 0 || layout->quantity_count > 0))
        problem_add(checker->problems, layout->where, "'kinds' and 'quantities' of layout '%s' go with 'holds: notes'",
                    layout->id);
    if (layout->delimiter == ',' && layout->decimal == ',')
        problem_add(checker->problems, layout->where,
                    "layout '%s' has the comma both between cells and in numbers: expected another 'delimiter'",
                    layout->id);
}

static bool role_fits(enum layout_holds holds, enum column_role role)
{
    if (role == COLUMN_STATION || role == COLUMN_SERIAL || role == COLUMN_IGNORED)
        return true;
    return (role == COLUMN_QUANTITY) == (holds == LAYOUT_READINGS);
}

static void check_rule(struct checker *checker, const struct rule *rule)
{
    char subject[128];
    snprintf(subject, sizeof subject, "rule '%s'", rule->id);
    check_tell(checker, subject, &rule->tell, rule->where);
    snprintf(subject, sizeof subject, "'escalate' of rule '%s'", rule->id);
    check_tell(checker, subject, &rule->escalate_to, rule->where);
    for (size_t i = 0; i < rule->tell.count; i++)
        for (size_t k = 0; k < rule->escalate_to.count; k++)
            if (strcmp(rule->tell.words[i], rule->escalate_to.words[k]) == 0)
                problem_add(checker->problems, rule->where,
                            "'escalate' of rule '%s' tells '%.60s', who is told at once", rule->id,
                            rule->tell.words[i]);
    check_limits(checker, rule);
    check_window(checker, rule);
    for (size_t i = 0; i < rule->condition_count; i++)
        if (rule->conditions[i].below <= rule->conditions[i].above)
            problem_add(checker->problems, rule->where,
                        "'while' of rule '%s' can never be so: 'below' must be above 'above'", rule->id);
    for (size_t i = 0; i < rule->stations.count; i++)
        check_rule_station(checker, rule, rule->stations.words[i]);
    for (size_t i = 0; i < rule->except.count; i++)
        check_rule_station(checker, rule, rule->except.words[i]);
}

static void check_tell(struct checker *checker, const char *subject, const struct word_list *tell, struct place where)
{
    const struct config *config = checker->config;
    for (size_t i = 0; i < tell->count; i++) {
        const char *id = tell->words[i];
        for (size_t k = 0; k < i; k++)
            if (strcmp(tell->words[k], id) == 0)
                problem_add(checker->problems, where, "%s tells '%.60s' twice", subject, id);
        if (config_find_recipient(config, id) < config->recipient_count)
            continue;
        const char *nearest = option_nearest(id, recipient_id, config);
        problem_add(checker->problems, where, "%s tells the unknown recipient '%.60s'%s%s%s", subject, id,
                    nearest ? ", expected '" : ": expected one of 'recipients'", nearest ? nearest : "",
                    nearest ? "'" : "");
    }
}

/* A deadband that no value can come back over leaves an alarm open for ever. */
static void check_limits(struct checker *checker, const struct rule *rule)
{
    bool is_size = (rule_measure(rule->kind) == MEASURE_CHANGE && rule->kind != RULE_FLAT) ||
                   (rule->kind == RULE_ABOVE && quantity_is(rule->quantity, QUANTITY_NEVER_NEGATIVE));
    if (is_size && rule->limit > 0 && rule->deadband >= rule->limit)
        problem_add(checker->problems, rule->where,
                    "rule '%s' could never be over: expected a 'deadband' that is smaller than the 'limit'", rule->id);
    if (rule->kind == RULE_OUTSIDE && rule->deadband > 0 && rule->deadband * 2 >= rule->high - rule->low)
        problem_add(checker->problems, rule->where,
                    "rule '%s' could never be over: expected a 'deadband' smaller than half of the 'band'", rule->id);
    if (rule->kind == RULE_OUTSIDE && isinf(rule->low) && isinf(rule->high))
        problem_add(checker->problems, rule->where, "'band' of rule '%s' has no end: expected one at least", rule->id);
}

/* Within one sampling interval nothing is seen to rise. */
static void check_window(struct checker *checker, const struct rule *rule)
{
    const struct config *config = checker->config;
    bool looks_back = rule->kind == RULE_RISE || rule->kind == RULE_FALL || rule->kind == RULE_FLAT;
    for (size_t i = 0; looks_back && rule->window > 0 && i < config->station_count; i++) {
        const struct station *station = &config->stations[i];
        char window[TIMESTAMP_SIZE], interval[TIMESTAMP_SIZE];
        if (station->interval < rule->window || !rule_watches(rule, station->id))
            continue;
        problem_add(checker->problems, rule->where,
                    "rule '%s' has a 'window' of %s, and station '%s' samples every %s: expected a longer window",
                    rule->id, duration_print(rule->window, window), station->id,
                    duration_print(station->interval, interval));
        return; /* one is enough of thousands */
    }
}

static void check_rule_station(struct checker *checker, const struct rule *rule, const char *word)
{
    const struct config *config = checker->config;
    for (size_t i = 0; i < config->station_count; i++)
        if (text_matches(word, config->stations[i].id, false))
            return;
    for (size_t i = 0; i < config->barometer_count; i++) {
        if (!text_matches(word, config->barometers[i].id, false))
            continue;
        if (!may_watch_barometers(rule))
            problem_add(checker->problems, rule->where,
                        "rule '%s' watches '%.60s', a barometer, which has no such quantity", rule->id, word);
        return;
    }
    const char *nearest = config->station_count < LARGEST_SUGGESTED ? option_nearest(word, station_id, config) : NULL;
    problem_add(checker->problems, rule->where, "rule '%s' watches '%.60s', which is no station%s%s%s", rule->id, word,
                nearest ? ", expected '" : ": expected an id or a pattern of ids", nearest ? nearest : "",
                nearest ? "'" : "");
}

static bool may_watch_barometers(const struct rule *rule)
{
    return rule->kind == RULE_SILENCE || rule->kind == RULE_GAP || rule->quantity == QUANTITY_AIR_PRESSURE ||
           rule->quantity == QUANTITY_AIR_TEMPERATURE || rule->quantity == QUANTITY_BATTERY;
}

static void check_recipient(struct checker *checker, const struct recipient *recipient)
{
    if (recipient->url)
        check_webhook(checker, recipient);
    if (!recipient->address)
        return;
    if (!address_is_mail(recipient->address))
        problem_add(checker->problems, recipient->where,
                    "recipient '%s' has no proper mail address: expected one such as desk@example.org, found '%.100s'",
                    recipient->id, recipient->address);
    if (!checker->config->mail.host)
        problem_add(checker->problems, recipient->where,
                    "recipient '%s' gets mail, and there is no 'mail' with a 'server' to send it", recipient->id);
}

static void check_webhook(struct checker *checker, const struct recipient *recipient)
{
    bool is_encrypted;
    struct error error;
    if (!address_check_url(recipient->url, &is_encrypted, &error)) {
        problem_add(checker->problems, recipient->where, "'webhook' of recipient '%s' %s", recipient->id, error.text);
        return;
    }
    if (!is_encrypted && !recipient->allows_private_address)
        problem_add(checker->problems, recipient->where,
                    "'webhook' of recipient '%s' is not encrypted: expected 'https://', or 'allow_private_address: "
                    "true' for a receiver in your own network",
                    recipient->id);
    if (recipient->body && !template_check(recipient->body, recipient->body_type, &error))
        problem_add(checker->problems, recipient->where, "'body' of recipient '%s' %s", recipient->id, error.text);
    if (recipient->old_secret.kind != SECRET_NONE && recipient->secret.kind == SECRET_NONE)
        problem_add(checker->problems, recipient->where, "recipient '%s' has an 'old_secret' and no 'secret'",
                    recipient->id);
}

static void check_heartbeat(struct checker *checker)
{
    const struct heartbeat *heartbeat = &checker->config->heartbeat;
    bool is_encrypted;
    struct error error;
    if (!address_check_url(heartbeat->url, &is_encrypted, &error))
        problem_add(checker->problems, heartbeat->where, "'url' of 'heartbeat' %s", error.text);
    else if (!is_encrypted && !heartbeat->allows_private_address)
        problem_add(
            checker->problems, heartbeat->where,
            "'url' of 'heartbeat' is not encrypted: expected 'https://', or 'allow_private_address: true' for a "
            "receiver in your own network");
}

static void check_mail(struct checker *checker)
{
    const struct mail_server *mail = &checker->config->mail;
    if (!address_is_host(mail->host))
        problem_add(checker->problems, mail->where, "'server' of 'mail' is a host name or an address, found '%.100s'",
                    mail->host);
    if (mail->from && !address_is_mail(mail->from))
        problem_add(checker->problems, mail->where,
                    "'from' of 'mail' is one mail address such as rillward@example.org, found '%.100s'", mail->from);
    if (mail->hello_name && !address_is_host(mail->hello_name))
        problem_add(checker->problems, mail->where, "'hello_name' of 'mail' is a host name, found '%.100s'",
                    mail->hello_name);
    if (mail->security == MAIL_PLAIN && !address_is_loopback(mail->host))
        problem_add(checker->problems, mail->where,
                    "'security: plain' of 'mail' is for a server on this machine: expected starttls or tls, or "
                    "'server: localhost'");
    if (mail->security == MAIL_PLAIN && mail->user)
        problem_add(checker->problems, mail->where,
                    "'user' of 'mail' would send the password unencrypted: expected 'security' starttls or tls");
    if (mail->user && mail->password.kind == SECRET_NONE)
        problem_add(checker->problems, mail->where, "'mail' has a 'user' and no 'password'");
    if (!mail->user && mail->password.kind != SECRET_NONE)
        problem_add(checker->problems, mail->where, "'mail' has a 'password' and no 'user'");
}

static const char *station_id(const void *context, size_t index)
{
    const struct config *config = context;
    return index < config->station_count ? config->stations[index].id : NULL;
}

static const char *barometer_id(const void *context, size_t index)
{
    const struct config *config = context;
    return index < config->barometer_count ? config->barometers[index].id : NULL;
}

static const char *recipient_id(const void *context, size_t index)
{
    const struct config *config = context;
    return index < config->recipient_count ? config->recipients[index].id : NULL;
}
