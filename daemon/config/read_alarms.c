/* SPDX-License-Identifier: MIT */
#include "config/sections.h"

#include "base/timestamp.h"
#include "base/zone.h"
#include "config/value.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define EVERY_DAY 0x7Fu

static void take_recipient(struct reader *reader, const struct entry *entry, struct capacities *room);
static void take_rule(struct reader *reader, const struct entry *entry, struct capacities *room);
static enum rule_kind peek_kind(struct reader *reader, const yaml_node_t *map);
static enum quantity peek_quantity(struct reader *reader, const yaml_node_t *map);
static void read_hours(struct reader *reader, const yaml_node_t *map, struct hours *hours);
static void read_days(struct reader *reader, const yaml_node_t *node, struct hours *hours);
static struct zone *read_zone(struct reader *reader, const yaml_node_t *map, const char *name);
static void read_since(struct reader *reader, const yaml_node_t *map, struct rule *rule);
static void read_while(struct reader *reader, const yaml_node_t *map, const struct entry *entry, struct rule *rule);
static void read_condition(struct reader *reader, const yaml_node_t *node, const char *title, struct rule *rule);
typedef bool read_bit(const char *text, size_t length, unsigned *ret, struct error *error);
static void read_bits(struct reader *reader, const yaml_node_t *node, const char *key, read_bit *read, unsigned *ret);
static void read_bound(struct reader *reader, const yaml_node_t *map, const char *key, double *ret);
static void read_rule_limit(struct reader *reader, const yaml_node_t *map, struct rule *rule);
static void check_rule_keys(struct reader *reader, const struct entry *entry, enum rule_kind kind);

void read_recipients(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "recipient", take_recipient, room);
}

void read_mail(struct reader *reader, const yaml_node_t *map)
{
    struct mail_server *mail = &reader->config->mail;
    reader_section(reader, &section_mail, map, "'mail'", mail);
    mail->where = reader_place(reader, map);
    if (mail->port == 0)
        mail->port = mail->security == MAIL_STARTTLS ? 587 : mail->security == MAIL_TLS ? 465 : 25;
}

void read_digest(struct reader *reader, const yaml_node_t *map)
{
    struct digest_mail *digest = &reader->config->digest_mail;
    digest->where = reader_place(reader, map);
    if (digest->zone_name && map->type == YAML_MAPPING_NODE)
        digest->zone = read_zone(reader, map, digest->zone_name);
}

void read_heartbeat(struct reader *reader, const yaml_node_t *map)
{
    reader->config->heartbeat.where = reader_place(reader, map);
}

void read_rules(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "rule", take_rule, room);
}

static void take_recipient(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct recipient recipient = {.id = entry->id, .where = entry->where};
    recipient.hours.days = EVERY_DAY;
    reader_section(reader, &section_recipient, entry->map, entry->title, &recipient);
    recipient.kind = recipient.address ? RECIPIENT_MAIL : RECIPIENT_WEBHOOK;
    if (entry->map->type == YAML_MAPPING_NODE) {
        const yaml_node_t *mail = reader_find_key(reader, entry->map, "mail");
        const yaml_node_t *webhook = reader_find_key(reader, entry->map, "webhook");
        const yaml_node_t *hours = reader_find(reader, entry->map, "hours");
        if (hours && hours->type == YAML_MAPPING_NODE)
            read_hours(reader, hours, &recipient.hours);
        if (!mail == !webhook)
            reader_complain(reader, entry->map, "%s has %s of 'webhook' and 'mail', expected one of them", entry->title,
                            mail ? "both" : "none");
        static const char *const webhook_keys[] = {"secret", "old_secret", "ca_file", "allow_private_address",
                                                   "body",   "body_type"};
        for (size_t i = 0; mail && !webhook && i < COUNT_OF(webhook_keys); i++) {
            const yaml_node_t *key = reader_find_key(reader, entry->map, webhook_keys[i]);
            if (key)
                reader_complain(reader, key, "'%s' belongs to a webhook, and %s gets mail: remove it", webhook_keys[i],
                                entry->title);
        }
    }
    config->recipients = x_grow(config->recipients, config->recipient_count, &room->recipients, sizeof recipient);
    config->recipients[config->recipient_count++] = recipient;
}

static void read_hours(struct reader *reader, const yaml_node_t *map, struct hours *hours)
{
    const yaml_node_t *days = reader_find(reader, map, "days");
    if (days)
        read_days(reader, days, hours);
    if (hours->zone_name)
        hours->zone = read_zone(reader, map, hours->zone_name);
    if (hours->from == hours->to && hours->zone)
        reader_complain(reader, map, "'hours'%s begin and end at the same time: leave them out for all day",
                        reader->about);
}

static void read_days(struct reader *reader, const yaml_node_t *node, struct hours *hours)
{
    struct word_list list = {NULL, 0};
    reader_words(reader, node, "days", &list);
    hours->days = list.count > 0 ? 0 : EVERY_DAY;
    for (size_t i = 0; i < list.count; i++) {
        unsigned days = 0;
        struct error error;
        if (!value_days(list.words[i], strlen(list.words[i]), &days, &error))
            reader_complain_value(reader, node, "days", &error);
        hours->days |= days;
    }
}

static struct zone *read_zone(struct reader *reader, const yaml_node_t *map, const char *name)
{
    struct error error;
    struct zone *zone = zone_load(name, &error);
    if (!zone)
        reader_complain(reader, reader_find(reader, map, "zone"), "'zone'%s: %s", reader->about, error.text);
    return zone;
}

static void take_rule(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct rule rule = {.id = entry->id,
                        .title = entry->id,
                        .quantity = QUANTITY_COUNT,
                        .limit = NAN,
                        .low = -INFINITY,
                        .high = INFINITY,
                        .since = TIME_NONE,
                        .where = entry->where};
    bool is_map = entry->map->type == YAML_MAPPING_NODE;
    enum rule_kind kind = is_map ? peek_kind(reader, entry->map) : RULE_KIND_COUNT;
    char about[TITLE_SIZE];
    reader->quantity = is_map ? peek_quantity(reader, entry->map) : QUANTITY_COUNT;
    if (reader->quantity != QUANTITY_COUNT) {
        snprintf(about, sizeof about, " of a rule on %s", quantity_info(reader->quantity)->key);
        reader->about = about;
    }
    reader_section(reader, &section_rule, entry->map, entry->title, &rule);
    if (kind != RULE_KIND_COUNT) {
        rule.kind = kind;
        const char *window = rule_vocabulary(kind)->window_standard;
        if (window && rule.window == 0)
            value_duration(window, strlen(window), &rule.window, NULL);
        check_rule_keys(reader, entry, kind);
        /* A spike is a rise and a fall: what the tests doubt is no flood. */
        if ((kind == RULE_RISE || kind == RULE_FALL) && !reader_find_key(reader, entry->map, "count_suspect"))
            rule.counts_suspect = false;
        if (reader->quantity != QUANTITY_COUNT && rule_vocabulary(kind)->needs & RULE_LIMIT)
            read_rule_limit(reader, entry->map, &rule);
        read_since(reader, entry->map, &rule);
        read_while(reader, entry->map, entry, &rule);
    }
    reader->quantity = QUANTITY_COUNT;
    config->rules = x_grow(config->rules, config->rule_count, &room->rules, sizeof rule);
    config->rules[config->rule_count++] = rule;
}

/* Kind and quantity say how the other keys are read, wherever they stand. A wrong word is complained of later. */
static enum rule_kind peek_kind(struct reader *reader, const yaml_node_t *map)
{
    const yaml_node_t *node = reader_find(reader, map, "kind");
    enum rule_kind kind = 0;
    while (node && kind < RULE_KIND_COUNT &&
           !(node->type == YAML_SCALAR_NODE &&
             value_same_word(rule_kind_word(kind), (const char *)node->data.scalar.value)))
        kind++;
    return node ? kind : RULE_KIND_COUNT;
}

static enum quantity peek_quantity(struct reader *reader, const yaml_node_t *map)
{
    const yaml_node_t *node = reader_find(reader, map, "quantity");
    return node && node->type == YAML_SCALAR_NODE ? quantity_find((const char *)node->data.scalar.value)
                                                  : QUANTITY_COUNT;
}

static void read_since(struct reader *reader, const yaml_node_t *map, struct rule *rule)
{
    const yaml_node_t *node = reader_find(reader, map, "since");
    const char *text = node ? reader_text(reader, node, "since") : NULL;
    if (!text || strcmp(text, "visit") == 0)
        return;
    if (!timestamp_parse(text, strlen(text), &rule->since))
        reader_complain(reader, node, "'since'%s is 'visit', or a time such as 2026-03-01T00:00:00Z, found '%.60s'",
                        reader->about, text);
}

/* One condition, or a list of them. */
static void read_while(struct reader *reader, const yaml_node_t *map, const struct entry *entry, struct rule *rule)
{
    const yaml_node_t *node = reader_find(reader, map, "while");
    if (!node)
        return;
    char title[TITLE_SIZE + 16];
    snprintf(title, sizeof title, "'while' of %s", entry->title);
    if (node->type != YAML_SEQUENCE_NODE) {
        read_condition(reader, node, title, rule);
        return;
    }
    const yaml_node_item_t *items = node->data.sequence.items.start;
    size_t count = (size_t)(node->data.sequence.items.top - items);
    if (count == 0 || count > RULE_CONDITIONS_MOST)
        reader_complain(reader, node, "%s is a list of 1 to %d conditions, found %zu", title, RULE_CONDITIONS_MOST,
                        count);
    for (size_t i = 0; i < count && i < RULE_CONDITIONS_MOST; i++) {
        const yaml_node_t *item = reader_node(reader, items[i]);
        if (item)
            read_condition(reader, item, title, rule);
    }
}

static void read_condition(struct reader *reader, const yaml_node_t *node, const char *title, struct rule *rule)
{
    struct rule_condition condition = {.quantity = QUANTITY_COUNT, .below = NAN, .above = NAN};
    enum quantity own = reader->quantity;
    reader_section(reader, &section_while, node, title, &condition);
    if (node->type != YAML_MAPPING_NODE)
        return;
    bool has_bound = reader_find_key(reader, node, "below") || reader_find_key(reader, node, "above");
    bool has_quantity = reader_find_key(reader, node, "quantity") != NULL;
    bool has_from = reader_find_key(reader, node, "from") != NULL, has_to = reader_find_key(reader, node, "to") != NULL;
    const yaml_node_t *months = reader_find(reader, node, "months");
    if (months)
        read_bits(reader, months, "months", value_months, &condition.months);
    const yaml_node_t *tide = reader_find(reader, node, "tide");
    if (tide)
        read_bits(reader, tide, "tide", value_tide, &condition.stages);
    if (condition.quantity != QUANTITY_COUNT) {
        reader->quantity = condition.quantity;
        read_bound(reader, node, "below", &condition.below);
        read_bound(reader, node, "above", &condition.above);
        reader->quantity = own;
    }
    if (has_quantity && !has_bound)
        reader_complain(reader, node, "%s has neither 'below' nor 'above', expected one of them", title);
    if (has_bound && !has_quantity)
        reader_complain(reader, node, "%s has a bound and no 'quantity'", title);
    if (has_from != has_to)
        reader_complain(reader, node, "%s has one of 'from' and 'to', expected both or none", title);
    else if (has_from && condition.from == condition.to)
        reader_complain(reader, node, "'from' and 'to' of %s are the same: leave them out for all day", title);
    if (!has_quantity && !has_bound && !tide && !months && !has_from && !has_to)
        reader_complain(reader, node, "%s is empty, expected a quantity with a bound, tide, months, or from and to",
                        title);
    rule->conditions[rule->condition_count++] = condition;
}

/* Bits of one word or of a list of them. */
static void read_bits(struct reader *reader, const yaml_node_t *node, const char *key, read_bit *read, unsigned *ret)
{
    struct word_list list = {NULL, 0};
    reader_words(reader, node, key, &list);
    for (size_t i = 0; i < list.count; i++) {
        unsigned bits = 0;
        struct error error;
        if (!read(list.words[i], strlen(list.words[i]), &bits, &error))
            reader_complain_value(reader, node, key, &error);
        *ret |= bits;
    }
}

static void read_bound(struct reader *reader, const yaml_node_t *map, const char *key, double *ret)
{
    const yaml_node_t *node = reader_find(reader, map, key);
    const char *text = node ? reader_text(reader, node, key) : NULL;
    struct error error;
    if (text && !value_quantity(text, strlen(text), (int)quantity_dimension(reader->quantity), false, ret, &error))
        reader_complain_value(reader, node, key, &error);
}

static void read_rule_limit(struct reader *reader, const yaml_node_t *map, struct rule *rule)
{
    const yaml_node_t *node = reader_find(reader, map, "limit");
    const char *text = node ? reader_text(reader, node, "limit") : NULL;
    if (!text)
        return;
    bool is_difference = rule_measure(rule->kind) == MEASURE_CHANGE;
    struct error error;
    bool is_read = value_quantity(text, strlen(text), (int)quantity_dimension(reader->quantity), is_difference,
                                  &rule->limit, &error);
    if (is_read && is_difference && !(rule->limit > 0))
        is_read = fail(&error, ERROR_CONFIG, "must be above 0 where the kind is '%s', found '%.60s'",
                       rule_kind_word(rule->kind), text);
    if (!is_read)
        reader_complain_value(reader, node, "limit", &error);
}

static void check_rule_keys(struct reader *reader, const struct entry *entry, enum rule_kind kind)
{
    const struct rule_vocabulary *info = rule_vocabulary(kind);
    for (unsigned bit = 0; bit < RULE_KEY_COUNT; bit++) {
        const char *key = rule_key_word(bit);
        const yaml_node_t *node = reader_find_key(reader, entry->map, key);
        if (node && !((info->needs | info->takes) & 1u << bit))
            reader_complain(reader, node, "kind '%s' does not use '%s': remove it", info->word, key);
        if (!node && info->needs & 1u << bit)
            reader_complain(reader, entry->map, "%s has no '%s', which kind '%s' needs", entry->title, key, info->word);
    }
}
