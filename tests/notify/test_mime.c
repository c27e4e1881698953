/* SPDX-License-Identifier: MIT */
#include "notify/mime.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static void expect(struct text *text, const char *wanted)
{
    cr_expect_str_eq(text->bytes, wanted);
    text_done(text);
}

static struct text empty(void)
{
    struct text text;
    text_init(&text, 65536);
    return text;
}

Test(mime, writes_plain_headers_as_they_are)
{
    struct text text = empty();
    mime_put_header(&text, "Subject", "Oxygen low: 1.8 mg/L");
    expect(&text, "Subject: Oxygen low: 1.8 mg/L\r\n");
}

Test(mime, folds_long_headers_at_spaces)
{
    struct text text = empty();
    mime_put_header(
        &text, "Subject",
        "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen");
    expect(&text, "Subject: one two three four five six seven eight nine ten eleven twelve\r\n"
                  " thirteen fourteen fifteen\r\n");
}

/* RFC 2047, section 2: the encoded text of "é" in UTF-8 is w6k=. */
Test(mime, encodes_what_is_not_ascii)
{
    struct text text = empty();
    mime_put_header(&text, "Subject", "é");
    expect(&text, "Subject: =?UTF-8?B?w6k=?=\r\n");
}

Test(mime, encodes_what_would_read_as_encoded)
{
    struct text text = empty();
    mime_put_header(&text, "Subject", "=?a?=");
    expect(&text, "Subject: =?UTF-8?B?PT9hPz0=?=\r\n");
}

Test(mime, splits_encoded_words_between_characters_and_keeps_lines_short)
{
    char value[4 * 60 + 1];
    for (size_t i = 0; i < 60; i++)
        memcpy(value + 4 * i, "\xF0\x9F\x90\x9F", 4);
    value[sizeof value - 1] = '\0';
    struct text text = empty();
    mime_put_header(&text, "Subject", value);
    for (const char *line = text.bytes; *line; line = strstr(line, "\r\n") + 2) {
        size_t length = (size_t)(strstr(line, "\r\n") - line);
        cr_expect_leq(length, 76);
        const char *word = strstr(line, "?B?") + 3;
        size_t digits = strcspn(word, "?="), bytes = digits * 3 / 4;
        cr_expect_eq(bytes % 4, 0, "a character was split: %zu bytes", bytes);
    }
    text_done(&text);
}

Test(mime, makes_line_ends_visible)
{
    struct text text = empty();
    mime_put_header(&text, "Subject", "a\r\nBcc: x\n\ty\x7F");
    expect(&text, "Subject: a\\x0D\\x0ABcc: x\\x0A\\x09y\\x7F\r\n");
    mime_put_mailbox(&text, "From", "a\r\nBcc: x", "a@example.org");
    expect(&text, "From: \"a\\\\x0D\\\\x0ABcc: x\" <a@example.org>\r\n");
}

Test(mime, cuts_headers_that_nobody_would_read)
{
    char *value = x_alloc(5001);
    memset(value, 'a', 5000);
    for (size_t i = 9; i < 5000; i += 10)
        value[i] = ' ';
    struct text text = empty();
    mime_put_header(&text, "S", value);
    cr_expect_leq(text.length, 3 + 200 + 3 * 2 + 2);
    text_done(&text);
    free(value);
}

Test(mime, quotes_names_of_mailboxes)
{
    struct text text = empty();
    mime_put_mailbox(&text, "To", "", "a@example.org");
    expect(&text, "To: a@example.org\r\n");
    mime_put_mailbox(&text, "From", "The \"good\" <creek>, \\o/", "a@example.org");
    expect(&text, "From: \"The \\\"good\\\" <creek>, \\\\o/\" <a@example.org>\r\n");
    mime_put_mailbox(&text, "From", "Bäche", "a@example.org");
    expect(&text, "From: =?UTF-8?B?QsOkY2hl?= <a@example.org>\r\n");
}

Test(mime, writes_dates_in_english)
{
    struct text text = empty();
    mime_put_date(&text, 1795585743000); /* date -u -d @1795585743 */
    expect(&text, "Date: Wed, 25 Nov 2026 05:49:03 +0000\r\n");
    mime_put_date(&text, 0);
    expect(&text, "Date: Thu, 01 Jan 1970 00:00:00 +0000\r\n");
    mime_put_date(&text, -SECOND_MS);
    expect(&text, "Date: Wed, 31 Dec 1969 23:59:59 +0000\r\n");
}

Test(mime, quotes_bodies_for_seven_bits)
{
    struct text text = empty();
    mime_put_quoted_printable(&text, "a=b µ\nspace at the end \n\tx\x01\n.\n");
    expect(&text, "a=3Db =C2=B5\r\nspace at the end=20\r\n=09x=01\r\n.\r\n");
    mime_put_quoted_printable(&text, "no end");
    expect(&text, "no end\r\n");
}

Test(mime, breaks_long_lines_of_bodies_softly)
{
    char line[161];
    memset(line, 'a', 160);
    line[160] = '\0';
    struct text text = empty();
    mime_put_quoted_printable(&text, line);
    size_t letters = 0;
    for (const char *c = text.bytes; *c; c++)
        letters += *c == 'a';
    cr_expect_eq(letters, 160);
    for (const char *at = text.bytes; *at; at = strstr(at, "\r\n") + 2)
        cr_expect_leq(strstr(at, "\r\n") - at, 76);
    text_done(&text);
}

Test(mime, writes_bytes_as_base64_in_short_lines)
{
    struct text text;
    text_init(&text, 1024);
    mime_put_base64(&text, "", 0);
    cr_expect_eq(text.length, 0);
    char bytes[58];
    memset(bytes, 0xFF, sizeof bytes);
    mime_put_base64(&text, bytes, sizeof bytes); /* one line of 57 bytes, and one byte: padded */
    char wanted[76 + 9] = {0};
    memset(wanted, '/', 76);
    strcat(wanted, "\r\n/w==\r\n");
    cr_expect_str_eq(text.bytes, wanted);
    text_done(&text);
}
