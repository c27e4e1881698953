/* SPDX-License-Identifier: MIT */
#include "notify/message.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "support/example_notice.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where the text differs from the file, both can be read. RILLWARD_UPDATE_GOLDEN=1 writes the files anew:
 * read the difference before you keep it. */
static void expect_golden(const char *name, const char *text)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/tests/notify/golden/%s", RILLWARD_SOURCE_ROOT, name);
    struct error error = {0};
    if (getenv("RILLWARD_UPDATE_GOLDEN"))
        cr_assert(file_write_whole(path, text, strlen(text), &error), "%s", error.text);
    char *wanted = NULL;
    size_t length;
    cr_assert(file_read(path, 1 << 20, &wanted, &length, &error), "%s", error.text);
    cr_expect_str_eq(text, wanted, "%s differs, now:\n%s", name, text);
    free(wanted);
}

static char *text_part(const struct notice *notice)
{
    struct config config = example_config();
    struct text text;
    text_init(&text, MESSAGE_MAIL_LIMIT);
    message_render_text(notice, &config, &text);
    return text.bytes;
}

static char *subject_line(const struct notice *notice)
{
    struct config config = example_config();
    struct text text;
    text_init(&text, MESSAGE_MAIL_LIMIT);
    message_render_subject(notice, &config, &text);
    return text.bytes;
}

/* Whole mail, CRLF as LF so that it can be read and kept. */
static char *mail_with(const struct notice *notice, const struct message_picture *picture)
{
    struct config config = example_config();
    struct text text;
    text_init(&text, MESSAGE_MAIL_LIMIT);
    struct error error = {0};
    cr_assert(message_render_mail(notice, &config, "desk@example.org", picture, &text, &error), "%s", error.text);
    size_t kept = 0;
    for (size_t i = 0; i < text.length; i++)
        if (text.bytes[i] != '\r')
            text.bytes[kept++] = text.bytes[i];
    text.bytes[kept] = '\0';
    return text.bytes;
}

static char *mail(const struct notice *notice)
{
    return mail_with(notice, NULL);
}

static char *event(const struct notice *notice)
{
    struct config config = example_config();
    struct text text;
    text_init(&text, MESSAGE_EVENT_LIMIT);
    struct error error = {0};
    cr_assert(message_render_event(notice, &config, &text, &error), "%s", error.text);
    return text.bytes;
}

static void expect_text(const struct notice *notice, const char *name)
{
    char *text = text_part(notice);
    expect_golden(name, text);
    free(text);
}

static void expect_subject(const struct notice *notice, const char *wanted)
{
    char *subject = subject_line(notice);
    cr_expect_str_eq(subject, wanted);
    free(subject);
}

static void expect_event(const struct notice *notice, const char *name)
{
    char *text = event(notice);
    char *with_end = x_printf("%s\n", text);
    expect_golden(name, with_end);
    free(with_end);
    free(text);
}

Test(message, says_how_to_acknowledge_with_and_without_a_shell)
{
    struct notice notice = example_notice();
    struct config config = example_config();
    const char *patterns[] = {"desk/answers*.csv"};
    struct text text;
    text_init(&text, MESSAGE_MAIL_LIMIT);
    message_render_text(&notice, &config, &text);
    cr_expect(strstr(text.bytes, "\nTo acknowledge (you have seen it)\nrillward alarms -c FILE acknowledge 42\n"));
    cr_expect_not(strstr(text.bytes, "Or without a shell"), "the settings trust no folder with it");
    text_clear(&text);
    config.answers = (struct word_list){patterns, 1};
    message_render_text(&notice, &config, &text);
    cr_expect(strstr(text.bytes, "named like desk/answers*.csv") &&
              strstr(text.bytes, "\nalarm,answer,who\n42,acknowledge,NAME\n"));
    text_clear(&text);
    notice.alarm.state = ALARM_ACKNOWLEDGED;
    message_render_text(&notice, &config, &text);
    cr_expect_not(strstr(text.bytes, "acknowledge 42"), "somebody has");
    text_done(&text);
}

Test(message, says_what_where_how_bad_and_whether_it_is_still_so)
{
    struct notice notice = example_notice();
    expect_subject(&notice, "[HIGH] Oxygen low at Heron Creek at the footbridge: 1.83 mg/L, still so");
    expect_text(&notice, "raised.txt");
    notice = example_notice_returned();
    expect_subject(&notice, "[HIGH] Oxygen low at Heron Creek at the footbridge: over, worst 1.52 mg/L");
    expect_text(&notice, "returned.txt");
}

Test(message, withdraws_what_was_not_so)
{
    struct notice notice = example_notice_returned();
    notice.event = NOTICE_WITHDRAWN;
    notice.alarm.state = ALARM_WITHDRAWN;
    notice.body = "Why: oxygen of 2026-11-25T04:10:00Z, told as 1.52 mg/L, is now 7.90 mg/L; what came later: the file "
                  "'north/heron-18.csv', at 2026-11-26T18:10:00Z.";
    expect_subject(&notice, "[HIGH] Oxygen low at Heron Creek at the footbridge: withdrawn, it was not so");
    expect_text(&notice, "withdrawn.txt");
    cr_expect_not(message_is_still_so(&notice));
}

Test(message, speaks_of_silence_and_of_drops_in_their_own_words)
{
    struct notice notice = example_notice_of_silence();
    expect_subject(&notice, "[MEDIUM] Silent at Weir pool: no data for 12 d 8 h, still so");
    expect_text(&notice, "silence.txt");
    notice = example_notice_of_drop();
    expect_subject(&notice, "[LOW] Drop set aside, north/heron-17.csv: still so");
    expect_text(&notice, "drop.txt");
}

Test(message, speaks_of_visits_and_gaps)
{
    struct notice notice = example_notice_of_silence();
    notice.rule_kind = "visit_due";
    notice.rule_title = "Visit due";
    expect_subject(&notice, "[MEDIUM] Visit due at Weir pool: no visit for 12 d 8 h, still so");
    notice.alarm.episode.end = notice.alarm.episode.last_time;
    char *text = text_part(&notice);
    cr_expect(strstr(text, "OVER: somebody has been there, after 12 d 8 h without."), "%s", text);
    free(text);
    notice.rule_kind = "gap";
    expect_subject(&notice, "[MEDIUM] Visit due at Weir pool: no data for 12 d 8 h");
    text = text_part(&notice);
    cr_expect(strstr(text, "A GAP of 12 d 8 h: "), "%s", text);
    free(text);
}

Test(message, presses_for_an_answer)
{
    struct notice notice = example_notice();
    notice.event = NOTICE_REMINDED;
    notice.body = "REMINDER: nobody has answered this alarm for 1 h 30 min.";
    expect_subject(&notice, "[HIGH] Reminder: Oxygen low at Heron Creek at the footbridge: 1.83 mg/L, still so");
    expect_text(&notice, "reminded.txt");
    notice.event = NOTICE_ESCALATED;
    expect_subject(&notice, "[HIGH] Nobody answers: Oxygen low at Heron Creek at the footbridge: 1.83 mg/L, still so");
}

Test(message, tells_several_alarms_in_one)
{
    struct notice notice = example_notice_of_group();
    expect_subject(&notice, "[MEDIUM] Silent: 3 alarms, 2 still so");
    expect_text(&notice, "group.txt");
    expect_event(&notice, "group.json");
    char *text = mail(&notice);
    cr_expect_null(strstr(text, "References"), "it belongs to no single alarm's thread");
    free(text);
}

Test(message, names_the_urgent_in_a_summary)
{
    struct notice notice = example_notice_of_flood();
    expect_subject(&notice, "[HIGH] 17 alarms, at least 14 still so, Sallow estuary water watch");
    expect_text(&notice, "summary.txt");
    char *text = event(&notice);
    cr_expect(strstr(text, "\"type\":\"org.example.water.alarm.summary.v1\""));
    cr_expect(strstr(text, "\"count\":17,\"alarms\":[{\"alarm\":42,"));
    cr_expect_leq(strlen(text), (size_t)MESSAGE_EVENT_LIMIT);
    free(text);
}

Test(message, lists_as_many_alarms_as_an_event_has_room_for)
{
    static struct notice items[40];
    for (int k = 0; k < 40; k++)
        items[k] = example_notice_of_drop();
    struct notice notice = example_notice_of_flood();
    notice.items = items;
    notice.item_count = 40;
    notice.item_total = 400;
    char *text = event(&notice);
    cr_expect(strstr(text, "\"count\":400,"));
    cr_expect_gt(strlen(text), (size_t)MESSAGE_EVENT_LIMIT * 9 / 10);
    cr_expect(text_ends_with(text, "}}"), "%s", text + strlen(text) - 40);
    free(text);
}

Test(message, a_digest_is_what_it_says)
{
    struct notice notice = example_notice_of_flood();
    notice.event = NOTICE_DIGEST;
    notice.priority = PRIORITY_LOW;
    notice.body = "Old news: 3 alarms";
    expect_subject(&notice, "[LOW] Digest of Sallow estuary water watch");
    char *text = text_part(&notice);
    cr_expect(text_starts_with(text, "Old news: 3 alarms\n"));
    free(text);
    text = event(&notice);
    cr_expect(strstr(text, "\"event\":\"digest\",\"priority\":\"low\",\"text\":\"Old news: 3 alarms\",\"provisional\""),
              "%s", text);
    free(text);
}

Test(message, says_plainly_that_a_test_is_a_test)
{
    struct notice notice = example_notice();
    notice.event = NOTICE_TEST;
    expect_subject(&notice, "[TEST] Message from Sallow estuary water watch");
    expect_text(&notice, "test.txt");
    expect_event(&notice, "test.json");
}

Test(message, becomes_a_whole_mail)
{
    struct notice notice = example_notice();
    char *text = mail(&notice);
    expect_golden("raised.eml", text);
    free(text);
    notice = example_notice_returned();
    notice.station_name = "Ålgård creek, north of the old mill where the weir used to be";
    text = mail(&notice);
    expect_golden("returned.eml", text);
    free(text);
}

/* The page says what the text says: every word of it stands there too. */
Test(message, says_the_same_on_its_page)
{
    struct notice notices[] = {example_notice(), example_notice_returned(), example_notice_of_silence(),
                               example_notice_of_group(), example_notice_of_flood()};
    struct config config = example_config();
    for (size_t i = 0; i < COUNT_OF(notices); i++) {
        char *text = text_part(&notices[i]);
        struct text page;
        text_init(&page, MESSAGE_TEXT_LIMIT);
        message_render_html(&notices[i], &config, NULL, &page);
        for (char *word = strtok(text, " \n"); word; word = strtok(NULL, " \n")) {
            struct text marked;
            text_init(&marked, 1024);
            text_markup(&marked, word);
            cr_expect(strcmp(word, "-") == 0 || strstr(page.bytes, marked.bytes), "'%s' of notice %zu", word, i);
            text_done(&marked);
        }
        text_done(&page);
        free(text);
    }
}

Test(message, has_a_page_that_can_be_read_anywhere)
{
    struct notice notice = example_notice();
    struct config config = example_config();
    const struct message_picture picture = {"\x89PNG\r\n", 6, 600, 300, "Oxygen <of> \"Heron\" Creek, 1.5 to 8 mg/L"};
    struct text page;
    text_init(&page, MESSAGE_TEXT_LIMIT);
    message_render_html(&notice, &config, &picture, &page);
    expect_golden("raised.html", page.bytes);
    cr_expect(strstr(page.bytes, "alt=\"Oxygen &lt;of&gt; &quot;Heron&quot; Creek, 1.5 to 8 mg/L\""), "%s", page.bytes);
    text_done(&page);
}

Test(message, has_a_page_for_many_alarms_too)
{
    struct notice notice = example_notice_of_flood();
    struct config config = example_config();
    struct text page;
    text_init(&page, MESSAGE_TEXT_LIMIT);
    message_render_html(&notice, &config, NULL, &page);
    expect_golden("summary.html", page.bytes);
    text_clear(&page);
    notice.event = NOTICE_DIGEST;
    notice.body =
        "Open alarms (2)\n- Oxygen low at Heron Creek: worst 1.52 mg/L; alarm 42\n- Water warm at Weir pool; alarm "
        "43\n\nDrops set aside (1)\n- north/heron-17.csv, 2 h ago: line 14: no unit\n";
    message_render_html(&notice, &config, NULL, &page);
    cr_expect(strstr(page.bytes, ">Open alarms (2)</h2>\n<ul"), "%s", page.bytes);
    cr_expect(strstr(page.bytes, "</ul>\n<h2"), "%s", page.bytes);
    text_done(&page);
}

Test(message, lets_no_name_add_markup)
{
    struct notice notice = example_notice_of_drop();
    struct config config = example_config();
    notice.alarm.station = notice.station_name = "<img src=x onerror=alert(1)>\"'&";
    notice.rule_title = "</title><script>";
    struct text page;
    text_init(&page, MESSAGE_TEXT_LIMIT);
    message_render_html(&notice, &config, NULL, &page);
    cr_expect_null(strstr(page.bytes, "<img"));
    cr_expect_null(strstr(page.bytes, "<script"));
    cr_expect(strstr(page.bytes, "&lt;img src=x onerror=alert(1)&gt;"), "%s", page.bytes);
    text_done(&page);
}

Test(message, carries_its_picture_and_leaves_out_one_that_is_too_large)
{
    struct notice notice = example_notice();
    char *png = x_alloc(MESSAGE_PICTURE_LIMIT + 1);
    struct message_picture picture = {png, MESSAGE_PICTURE_LIMIT, 600, 300, "oxygen"};
    char *text = mail_with(&notice, &picture);
    cr_expect(strstr(text, "Content-ID: <chart.sallow-mouth-42-1-desk@example.org>\n"));
    struct config config = example_config();
    struct text page;
    text_init(&page, MESSAGE_TEXT_LIMIT);
    message_render_html(&notice, &config, &picture, &page);
    cr_expect(strstr(page.bytes, "src=\"cid:chart.sallow-mouth-42-1-desk@example.org\""));
    text_done(&page);
    size_t zeros = 0;
    for (const char *c = text; (c = strstr(c, "\nAAAA")); c++)
        zeros += strcspn(c + 1, "\n");
    cr_expect_eq(zeros, (size_t)MESSAGE_PICTURE_LIMIT / 3 * 4);
    free(text);
    picture.length++;
    text = mail_with(&notice, &picture);
    char *without = mail(&notice);
    cr_expect_str_eq(text, without);
    free(text), free(without), free(png);
}

Test(message, becomes_an_event_with_keys_in_a_fixed_order)
{
    struct notice notice = example_notice();
    expect_event(&notice, "raised.json");
    notice = example_notice_returned();
    expect_event(&notice, "returned.json");
    notice = example_notice_of_silence();
    expect_event(&notice, "silence.json");
}

Test(message, names_events_after_the_operators_host_or_itself)
{
    struct config config = example_config();
    struct notice notice = example_notice();
    static const struct {
        const char *url, *source, *type;
    } rows[] = {
        {"https://Water.Example.org", "\"https://Water.Example.org/stations/heron-creek/\"",
         "\"org.example.water.alarm.raised.v1\""},
        {"https://example.org:8443/a/", "\"https://example.org:8443/a/stations/heron-creek/\"",
         "\"org.example.alarm.raised.v1\""},
        {"", "\"urn:rillward:sallow-mouth:station:heron-creek\"", "\"rillward.alarm.raised.v1\""},
        {"http://192.0.2.7/", "\"http://192.0.2.7/stations/heron-creek/\"", "\"rillward.alarm.raised.v1\""},
        {"http://gauge/", "\"http://gauge/stations/heron-creek/\"", "\"rillward.alarm.raised.v1\""},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        config.public_url = rows[i].url;
        struct text text;
        text_init(&text, MESSAGE_EVENT_LIMIT);
        cr_assert(message_render_event(&notice, &config, &text, NULL));
        cr_expect(strstr(text.bytes, rows[i].source), "%s in %s", rows[i].source, text.bytes);
        cr_expect(strstr(text.bytes, rows[i].type), "%s in %s", rows[i].type, text.bytes);
        text_done(&text);
    }
}

Test(message, keeps_every_line_narrow)
{
    struct notice notices[] = {example_notice(),         example_notice_returned(), example_notice_of_silence(),
                               example_notice_of_drop(), example_notice_of_group(), example_notice_of_flood()};
    notices[0].station_name = "Übergroßer Bach an der längsten denkbaren Brücke mit einem sehr langen Namen, oben";
    notices[3].alarm.station = notices[3].station_name =
        "a/folder/name/that/has/no/space/in/it/and/goes/on/and/on/until/it/is/wider/than/any/line/could/be/"
        "at/all.csv";
    for (size_t i = 0; i < COUNT_OF(notices); i++) {
        char *text = text_part(&notices[i]);
        for (const char *line = text; *line;) {
            size_t length = strcspn(line, "\n"), columns = 0;
            for (size_t c = 0; c < length; c++)
                columns += ((unsigned char)line[c] & 0xC0) != 0x80;
            cr_expect(columns <= 60 || strncmp(line, "https://", 8) == 0, "%zu columns: %.*s", columns, (int)length,
                      line);
            line += length + (line[length] == '\n');
        }
        free(text);
        text = mail(&notices[i]);
        for (const char *line = text; *line; line += strcspn(line, "\n"), line += *line == '\n')
            cr_expect_leq(strcspn(line, "\n"), 78);
        free(text);
    }
}

Test(message, lets_no_text_add_a_header)
{
    struct notice notice = example_notice();
    notice.station_name = "Creek\r\nBcc: evil@example.org";
    notice.rule_title = "Low\nX-Evil: 1";
    char *text = mail(&notice);
    const char *body = strstr(text, "\n\n");
    for (const char *line = text; line < body; line += strcspn(line, "\n") + 1) {
        cr_expect_neq(strncmp(line, "Bcc", 3), 0);
        cr_expect_neq(strncmp(line, "X-Evil", 6), 0);
    }
    cr_expect(strstr(text, "\\x0D\\x0ABcc"), "%s", text);
    free(text);
}

Test(message, lets_no_file_name_add_a_paragraph)
{
    struct notice notice = example_notice_of_drop();
    notice.alarm.station = notice.station_name = "a.csv\n\nOVER: all is well";
    snprintf(notice.alarm.episode.detail, sizeof notice.alarm.episode.detail, "bad\nPlease ring +00 \x1B[2J");
    char *text = text_part(&notice);
    cr_expect_null(strstr(text, "\nOVER"));
    cr_expect_null(strstr(text, "\nPlease ring"));
    cr_expect_null(strchr(text, 0x1B));
    free(text);
}

Test(message, lets_no_address_or_uid_add_a_command)
{
    struct config config = example_config();
    struct notice notice = example_notice();
    struct error error = {0};
    struct text text;
    text_init(&text, MESSAGE_MAIL_LIMIT);
    static const char *const bad[] = {"a@b\r\nRCPT TO:<evil@example.org>", "a@b>, <c@d", "a b@example.org", "",
                                      "nobody"};
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        cr_expect_not(message_render_mail(&notice, &config, bad[i], NULL, &text, &error), "'%s'", bad[i]);
        cr_expect_eq(error.kind, ERROR_CONFIG);
        struct config other = config;
        other.mail.from = bad[i];
        cr_expect_not(message_render_mail(&notice, &other, "desk@example.org", NULL, &text, &error), "'%s'", bad[i]);
    }
    notice.uid = "1>\r\nBcc: evil@example.org";
    cr_expect_not(message_render_mail(&notice, &config, "desk@example.org", NULL, &text, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    text_done(&text);
}

Test(message, holds_one_line_of_json_whatever_it_is_told)
{
    struct notice notice = example_notice();
    notice.station_name = "\x01\"\\\n\xFF</script>";
    notice.alarm.station = "line\nend\x7F";
    notice.worst = NAN;
    char *text = event(&notice);
    for (const char *c = text; *c; c++)
        cr_expect((unsigned char)*c >= 0x20 && *c != 0x7F);
    cr_expect(strstr(text, "\"worst\":null"));
    cr_expect(strstr(text, "\"subject\":\"line\\\\x0Aend\\\\x7F/low-oxygen\""), "%s", text);
    free(text);
}

Test(message, refuses_what_is_too_long)
{
    struct config config = example_config();
    struct notice notice = example_notice();
    char *advice = x_alloc(MESSAGE_MAIL_LIMIT + 1);
    memset(advice, 'a', MESSAGE_MAIL_LIMIT);
    notice.advice = advice;
    struct text text;
    struct error error = {0};
    text_init(&text, MESSAGE_EVENT_LIMIT);
    cr_expect_not(message_render_event(&notice, &config, &text, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    text_done(&text);
    text_init(&text, MESSAGE_MAIL_LIMIT);
    cr_expect_not(message_render_mail(&notice, &config, "desk@example.org", NULL, &text, &error));
    text_done(&text);
    free(advice);
}

Test(message, shows_all_mails_of_an_alarm_as_one_thread)
{
    struct notice first = example_notice(), second = example_notice_returned();
    char *a = mail(&first), *b = mail(&second);
    cr_expect(strstr(a, "\nMessage-ID: <sallow-mouth-42-1-desk@example.org>\n"));
    cr_expect(strstr(b, "\nMessage-ID: <sallow-mouth-42-2-desk@example.org>\n"));
    cr_expect(strstr(a, "\nReferences: <alarm-42.1.sallow-mouth@example.org>\n"));
    cr_expect(strstr(b, "\nReferences: <alarm-42.1.sallow-mouth@example.org>\n"));
    cr_expect(strstr(b, "\nIn-Reply-To: <alarm-42.1.sallow-mouth@example.org>\n"));
    cr_expect_null(strstr(a, "In-Reply-To"));
    free(a);
    free(b);
}

Test(message, is_the_same_in_every_attempt)
{
    struct notice first = example_notice(), again = example_notice();
    again.attempts = 9;
    char *a = mail(&first), *b = mail(&again), *c = event(&first), *d = event(&again);
    cr_expect_str_eq(a, b);
    cr_expect_str_eq(c, d);
    free(a), free(b), free(c), free(d);
}

static void expect_in_schema(const char *schema, const char *word)
{
    char *quoted = x_printf("\"%s\"", word);
    cr_expect(strstr(schema, quoted), "%s", word);
    free(quoted);
}

Test(message, uses_no_word_that_the_published_schema_lacks)
{
    char *schema = NULL;
    size_t length;
    struct error error = {0};
    cr_assert(file_read(RILLWARD_SOURCE_ROOT "/config-examples/notice.schema.json", 1 << 20, &schema, &length, &error),
              "%s", error.text);
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++)
        expect_in_schema(schema, alarm_state_word(state));
    for (enum notice_event event_kind = 0; event_kind < NOTICE_EVENT_COUNT; event_kind++)
        expect_in_schema(schema, notice_event_word(event_kind));
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++)
        expect_in_schema(schema, rule_kind_word(kind));
    for (enum priority priority = 0; priority < PRIORITY_COUNT; priority++)
        expect_in_schema(schema, priority_word(priority));
    free(schema);
}

/* Read out after the logger came up: the newest sample is fine, and the off-delay has not passed. */
Test(message, a_value_on_the_good_side_again_is_not_called_still_so)
{
    struct notice notice = example_notice();
    notice.last = notice.alarm.episode.last = 3.4;
    expect_subject(&notice, "[HIGH] Oxygen low at Heron Creek at the footbridge: 3.40 mg/L after 1.52 mg/L, not over yet");
    char *text = text_part(&notice);
    cr_expect_not_null(strstr(text, "NOT OVER YET."), "%s", text);
    cr_expect_null(strstr(text, "STILL SO"), "%s", text);
    free(text);
    notice.rule_kind = "above";
    notice.limit = 3.2;
    text = text_part(&notice);
    cr_expect_not_null(strstr(text, "STILL SO"), "beyond a limit from the other side: %s", text);
    free(text);
    notice.last = notice.alarm.episode.last = 3.1;
    text = text_part(&notice);
    cr_expect_not_null(strstr(text, "NOT OVER YET."), "%s", text);
    free(text);
}
