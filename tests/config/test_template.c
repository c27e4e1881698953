/* SPDX-License-Identifier: MIT */
#include "config/template.h"

#include "base/memory.h"

#include <criterion/criterion.h>
#include <string.h>

static void expect_sound(const char *text, enum body_type type)
{
    struct error error = {0};
    cr_expect(template_check(text, type, &error), "%s: %s", text, error.text);
}

static void expect_refused(const char *text, enum body_type type, const char *why)
{
    struct error error = {0};
    cr_expect_not(template_check(text, type, &error), "%s", text);
    cr_expect_eq(error.kind, ERROR_CONFIG);
    cr_expect(strstr(error.text, why), "%s: '%s' says nothing of '%s'", text, error.text, why);
}

Test(template, takes_json_with_values_in_its_strings)
{
    expect_sound("{\"text\": \"%{subject}\\n%{summary|entities}\"}", BODY_JSON);
    expect_sound(" [1, -2.5e3, true, null, {}, [], {\"a\" : \"%{id}\", \"b\":\"\\u00e9\"} ]\n", BODY_JSON);
    expect_sound("\"100 % of %{place}\"", BODY_JSON);
}

Test(template, takes_forms_and_texts_of_any_shape)
{
    expect_sound("payload=%{text}&channel=water", BODY_FORM);
    expect_sound("%{subject}: \"%{link}\" {", BODY_TEXT);
    expect_sound("nothing of the notice", BODY_TEXT);
}

Test(template, refuses_values_where_they_could_be_more_than_a_value)
{
    expect_refused("{\"text\": %{subject}}", BODY_JSON, "outside of a string");
    expect_refused("{%{subject}: 1}", BODY_JSON, "outside of a string");
    expect_refused("%{subject}", BODY_JSON, "outside of a string");
}

Test(template, says_from_where_on_it_is_no_json)
{
    expect_refused("{\"text\": \"%{subject}\"", BODY_JSON, "no JSON from ''");
    expect_refused("{\"text\": \"a\",}", BODY_JSON, "no JSON from '}'");
    expect_refused("{\"text\" \"a\"}", BODY_JSON, "no JSON from '\"a\"}'");
    expect_refused("{} more", BODY_JSON, "no JSON from 'more'");
    expect_refused("\"a\\x\"", BODY_JSON, "no JSON from '\\x\"'");
    expect_refused("\"a\\u12\"", BODY_JSON, "no JSON");
    expect_refused("[01x]", BODY_JSON, "no JSON");
    expect_refused("text=%{subject}", BODY_JSON, "'body_type' to form or text");
    char deep[64];
    memset(deep, '[', sizeof deep - 1);
    deep[sizeof deep - 1] = '\0';
    expect_refused(deep, BODY_JSON, "no JSON");
}

Test(template, suggests_the_value_that_was_meant)
{
    expect_refused("%{sumary}", BODY_TEXT, "expected 'summary'");
    expect_refused("%{xyzzyxyzzy}", BODY_TEXT, "subject, text and summary are some");
    expect_refused("%{subject", BODY_TEXT, "without its '}'");
    expect_refused("%{subject|upper}", BODY_TEXT, "expected '|entities}'");
}

Test(template, falls_into_its_pieces)
{
    const char *at = "a%{event}%{link|entities}b";
    struct template_piece piece;
    struct error error = {0};
    cr_assert(template_next(&at, &piece, &error) && piece.length == 1 && *piece.bytes == 'a');
    cr_assert(template_next(&at, &piece, &error) && piece.value == TEMPLATE_EVENT && !piece.has_entities);
    cr_assert(template_next(&at, &piece, &error) && piece.value == TEMPLATE_LINK && piece.has_entities);
    cr_assert(template_next(&at, &piece, &error) && piece.value == TEMPLATE_VALUE_COUNT && *piece.bytes == 'b');
    cr_expect_not(template_next(&at, &piece, &error));
    cr_expect_eq(error.kind, ERROR_NONE);
}
