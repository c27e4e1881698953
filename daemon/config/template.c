/* SPDX-License-Identifier: MIT */
#include "config/template.h"

#include "base/memory.h"
#include "base/text.h"
#include "config/options.h"

#include <ctype.h>
#include <string.h>

enum { JSON_DEPTH = 16 };

static const char *const value_words[] = {
    [TEMPLATE_SUBJECT] = "subject",   [TEMPLATE_TEXT] = "text",
    [TEMPLATE_SUMMARY] = "summary",   [TEMPLATE_EVENT] = "event",
    [TEMPLATE_PRIORITY] = "priority", [TEMPLATE_STATE] = "state",
    [TEMPLATE_TITLE] = "title",       [TEMPLATE_RULE] = "rule",
    [TEMPLATE_PLACE] = "place",       [TEMPLATE_STATION] = "station",
    [TEMPLATE_ADVICE] = "advice",     [TEMPLATE_LINK] = "link",
    [TEMPLATE_ALARM] = "alarm",       [TEMPLATE_ID] = "id",
    [TEMPLATE_NETWORK] = "network",
};
_Static_assert(COUNT_OF(value_words) == TEMPLATE_VALUE_COUNT, "every value has a word");

static bool read_value(const char **at, struct template_piece *ret, struct error *error);
static const char *value_word_at(const void *context, size_t index);

/* What is left of a text that should be JSON. */
struct json_rest {
    const char *at;
    int depth;
};
static bool skip_json(struct json_rest *rest);
static bool skip_members(struct json_rest *rest, char close);
static bool skip_string(struct json_rest *rest);
static bool skip_plain(struct json_rest *rest);
static void skip_blanks(struct json_rest *rest);

const char *template_value_word(enum template_value value)
{
    return value_words[value];
}

bool template_next(const char **at, struct template_piece *ret, struct error *error)
{
    if (!**at)
        return false;
    if (text_starts_with(*at, "%{"))
        return read_value(at, ret, error);
    const char *next = strstr(*at, "%{");
    size_t length = next ? (size_t)(next - *at) : strlen(*at);
    *ret = (struct template_piece){.bytes = *at, .length = length, .value = TEMPLATE_VALUE_COUNT};
    *at += length;
    return true;
}

bool template_check(const char *text, enum body_type type, struct error *error)
{
    CLEANUP(text_done) struct text sample;
    struct template_piece piece = {0};
    struct error broken = {0};
    text_init(&sample, strlen(text) + 1);
    /* With every value left out what remains must be JSON, and a value must not stand where that is no string: a
     * control byte, which only strings would have to escape, marks its place for skip_string(). */
    for (const char *at = text; template_next(&at, &piece, &broken);)
        if (piece.value == TEMPLATE_VALUE_COUNT)
            text_add(&sample, piece.bytes, piece.length);
        else
            text_putc(&sample, '\x1A');
    if (broken.kind != ERROR_NONE)
        return fail(error, ERROR_CONFIG, "%s", broken.text);
    struct json_rest rest = {sample.bytes ? sample.bytes : "", 0};
    if (type != BODY_JSON || (skip_json(&rest) && !*rest.at))
        return true;
    if (*rest.at == '\x1A')
        return fail(error, ERROR_CONFIG, "has a value outside of a string: write \"%%{...}\" between quotes");
    return fail(error, ERROR_CONFIG, "is no JSON from '%.30s' on: correct it, or set 'body_type' to form or text",
                rest.at);
}

static bool read_value(const char **at, struct template_piece *ret, struct error *error)
{
    const char *name = *at + 2, *end = strpbrk(name, "}\n");
    if (!end || *end != '}')
        return fail(error, ERROR_CONFIG, "has a '%%{' without its '}'");
    size_t length = strcspn(name, "|}");
    bool has_filter = name[length] == '|';
    CLEANUP(cleanup_free) char *word = x_strndup(name, length);
    *ret = (struct template_piece){.value = 0, .has_entities = has_filter};
    while (ret->value < TEMPLATE_VALUE_COUNT && strcmp(value_words[ret->value], word) != 0)
        ret->value++;
    if (ret->value == TEMPLATE_VALUE_COUNT) {
        const char *nearest = option_nearest(word, value_word_at, NULL);
        return fail(error, ERROR_CONFIG, "names '%%{%.40s}', which is no value%s%s%s", word,
                    nearest ? ", expected '" : "", nearest ? nearest : "",
                    nearest ? "'" : ": subject, text and summary are some");
    }
    if (has_filter && strncmp(name + length, "|entities}", strlen("|entities}")) != 0)
        return fail(error, ERROR_CONFIG, "has '%.40s' behind '%%{%s', expected '|entities}' or '}'", name + length,
                    word);
    *at = end + 1;
    return true;
}

static const char *value_word_at(const void *context, size_t index)
{
    (void)context;
    return index < TEMPLATE_VALUE_COUNT ? value_words[index] : NULL;
}

/* ---- Is it JSON? Grammar only (RFC 8259); `at` stands where it is not. ---- */

static bool skip_json(struct json_rest *rest)
{
    bool is_good;
    skip_blanks(rest);
    if (*rest->at == '"') {
        is_good = skip_string(rest);
    } else if (*rest->at == '{' || *rest->at == '[') {
        char close = *rest->at == '{' ? '}' : ']';
        if (++rest->depth > JSON_DEPTH)
            return false;
        rest->at++;
        is_good = skip_members(rest, close);
        rest->depth--;
    } else {
        is_good = skip_plain(rest);
    }
    skip_blanks(rest);
    return is_good;
}

static bool skip_members(struct json_rest *rest, char close)
{
    skip_blanks(rest);
    if (*rest->at == close) {
        rest->at++;
        return true;
    }
    for (;;) {
        skip_blanks(rest);
        if (close == '}' && (*rest->at != '"' || !skip_string(rest)))
            return false;
        skip_blanks(rest);
        if (close == '}' && *rest->at++ != ':')
            return rest->at--, false;
        if (!skip_json(rest))
            return false;
        if (*rest->at != ',' && *rest->at != close)
            return false;
        if (*rest->at++ == close)
            return true;
    }
}

static bool skip_string(struct json_rest *rest)
{
    const char *start = rest->at++;
    while (*rest->at && *rest->at != '"') {
        size_t escape = 0;
        if (*rest->at == '\\' && rest->at[1] == 'u')
            escape = 2 + strspn(rest->at + 2, "0123456789abcdefABCDEF");
        else if (*rest->at == '\\' && rest->at[1] && strchr("\"\\/bfnrt", rest->at[1]))
            escape = 2;
        bool is_raw = (unsigned char)*rest->at < 0x20 && *rest->at != '\x1A';
        if (is_raw || (*rest->at == '\\' && (escape == 0 || (rest->at[1] == 'u' && escape < 6))))
            return false;
        rest->at += *rest->at != '\\' ? 1 : rest->at[1] == 'u' ? 6 : 2;
    }
    if (!*rest->at) {
        rest->at = start;
        return false;
    }
    rest->at++;
    return true;
}

/* A number, true, false or null. */
static bool skip_plain(struct json_rest *rest)
{
    static const char *const words[] = {"true", "false", "null"};
    for (size_t k = 0; k < COUNT_OF(words); k++)
        if (text_starts_with(rest->at, words[k])) {
            rest->at += strlen(words[k]);
            return true;
        }
    size_t length = strspn(rest->at, "-+.0123456789eE");
    double ignored;
    bool is_number =
        (isdigit((unsigned char)*rest->at) || *rest->at == '-') && text_parse_number(rest->at, length, '.', &ignored);
    rest->at += is_number ? length : 0;
    return is_number;
}

static void skip_blanks(struct json_rest *rest)
{
    rest->at += strspn(rest->at, " \t\r\n");
}
