/* SPDX-License-Identifier: MIT */
#include "notify/message.h"

#include "base/memory.h"
#include "support/example_notice.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

/* free() it. */
static char *body_of(const struct notice *notice, const char *body, enum body_type type)
{
    struct config config = example_config();
    const struct recipient recipient = {
        .id = "chat", .url = "https://chat.example.org/", .body = body, .body_type = type};
    struct text text;
    struct error error = {0};
    text_init(&text, MESSAGE_EVENT_LIMIT);
    cr_assert(message_render_body(notice, &config, &recipient, &text, &error), "%s", error.text);
    return text.bytes;
}

static void expect_body(const struct notice *notice, const char *body, enum body_type type, const char *wanted)
{
    char *text = body_of(notice, body, type);
    cr_expect_str_eq(text, wanted);
    free(text);
}

Test(message_template, puts_the_values_of_the_notice_into_it)
{
    struct notice notice = example_notice();
    expect_body(&notice, "%{event} %{priority} %{state} %{title} %{rule} %{place} %{station} %{alarm}", BODY_TEXT,
                "raised high unacknowledged Oxygen low low-oxygen Heron Creek at the footbridge heron-creek 42");
    expect_body(&notice, "{\"text\":\"%{subject}\"}", BODY_JSON,
                "{\"text\":\"[HIGH] Oxygen low at Heron Creek at the footbridge: 1.83 mg/L, still so\"}");
    expect_body(
        &notice, "{\"text\":\"%{summary}\",\"more\":\"%{link}\"}", BODY_JSON,
        "{\"text\":\"STILL SO at the last sample: 1.83 mg/L (alarm below 3 mg/L).\\u000aThat sample was already 1 h 20 "
        "min old when this was written. What the water does now is not known.\",\"more\":"
        "\"https://water.example.org/stations/heron-creek/\"}");
    expect_body(&notice, "text=%{title}&id=%{id}", BODY_FORM, "text=Oxygen%20low&id=sallow-mouth-42-1-desk");
}

Test(message_template, has_words_for_many_alarms_and_for_a_test)
{
    struct notice notice = example_notice_of_group();
    expect_body(&notice, "%{summary}|%{alarm}|%{state}|%{link}", BODY_TEXT,
                "Silent\n3 alarms, 2 still so|||https://water.example.org/");
    notice = example_notice();
    notice.event = NOTICE_TEST;
    expect_body(
        &notice, "%{summary}|%{alarm}", BODY_TEXT,
        "It was sent to 'desk' by Sallow estuary water watch. When you read this, alarms of this network reach you "
        "here.|");
}

Test(message_template, lets_no_value_leave_its_string_or_field)
{
    struct notice notice = example_notice_of_drop();
    notice.station_name = "\",\"x\":\"\\\n<!everyone> & =\x1B";
    expect_body(&notice, "{\"a\":\"%{place}\"}", BODY_JSON,
                "{\"a\":\"\\\",\\\"x\\\":\\\"\\\\\\u000a\\u003c!everyone> & =\\u001b\"}");
    expect_body(&notice, "{\"a\":\"%{place|entities}\"}", BODY_JSON,
                "{\"a\":\"\\\",\\\"x\\\":\\\"\\\\\\u000a&lt;!everyone&gt; &amp; =\\u001b\"}");
    expect_body(&notice, "a=%{place}", BODY_FORM, "a=%22%2C%22x%22%3A%22%5C%0A%3C%21everyone%3E%20%26%20%3D%1B");
    expect_body(&notice, "%{place}", BODY_TEXT, "\",\"x\":\"\\\n<!everyone> & =\\x1B");
}

Test(message_template, refuses_what_is_too_long)
{
    struct notice notice = example_notice();
    struct config config = example_config();
    char *advice = x_alloc(MESSAGE_EVENT_LIMIT + 2);
    memset(advice, 'a', MESSAGE_EVENT_LIMIT + 1);
    notice.advice = advice;
    const struct recipient recipient = {.id = "chat", .body = "%{advice}", .body_type = BODY_TEXT};
    struct text text;
    struct error error = {0};
    text_init(&text, MESSAGE_EVENT_LIMIT);
    cr_expect_not(message_render_body(&notice, &config, &recipient, &text, &error));
    cr_expect(error.kind == ERROR_INPUT && strstr(error.text, "longer than"), "%s", error.text);
    text_done(&text);
    free(advice);
}

Test(message_template, names_what_it_sends)
{
    struct recipient recipient = {.id = "chat"};
    cr_expect_str_eq(message_body_kind(&recipient), "application/cloudevents+json; charset=UTF-8");
    recipient.body = "{}";
    cr_expect_str_eq(message_body_kind(&recipient), "application/json");
    recipient.body_type = BODY_FORM;
    cr_expect_str_eq(message_body_kind(&recipient), "application/x-www-form-urlencoded");
}
