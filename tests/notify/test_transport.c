/* SPDX-License-Identifier: MIT */
/* Against a real server on this machine. */
#include "notify/transport.h"

#include "base/file.h"
#include "base/memory.h"
#include "support/child.h"

#include <criterion/criterion.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PATIENCE_MS = 30000 };

static char folder[256], log_path[300];
static struct child receiver;
static struct transport *transport;

/* Short limits, so that what never ends is over soon. */
static void set_up(void)
{
    static const struct transport_limits limits = {.connect = 5000, .post = 700, .mail = 5000};
    struct error error = {0};
    child_make_folder(folder, sizeof folder);
    snprintf(log_path, sizeof log_path, "%s/log", folder);
    receiver = child_start("receiver.py", (const char *const[]){"--log", log_path, "--for", "120", NULL});
    transport = transport_open(&limits, &error);
    cr_assert(transport, "%s", error.text);
}

static void tear_down(void)
{
    transport_close(transport);
    child_stop(&receiver);
    child_remove_folder(folder);
}

TestSuite(transport, .init = set_up, .fini = tear_down);

static void post(int64_t id, const char *host, const char *path, bool allows_private_address)
{
    char url[256];
    snprintf(url, sizeof url, "http://%s:%d%s", host, receiver.port, path);
    const struct transport_post request = {
        .url = url, .body = "{}", .body_length = 2, .allows_private_address = allows_private_address};
    transport_start_post(transport, id, &request);
}

static struct transport_result next_result(void)
{
    struct transport_result result;
    struct pollfd ready = {.fd = transport_fd(transport), .events = POLLIN};
    while (transport_collect(transport, &result, 1) == 0)
        cr_assert_eq(poll(&ready, 1, PATIENCE_MS), 1, "no result came");
    return result;
}

static bool receiver_heard_nothing(void)
{
    char *bytes = NULL;
    size_t length = 1;
    cr_assert(file_read(log_path, 1 << 20, &bytes, &length, NULL));
    free(bytes);
    return length == 0;
}

Test(transport, says_what_the_receiver_answered)
{
    post(5, "127.0.0.1", "/status/422", true);
    struct transport_result result = next_result();
    cr_expect_eq(result.id, 5);
    cr_expect_eq(result.end, TRANSPORT_ANSWERED);
    cr_expect_eq(result.response, 422);
    cr_expect_str_eq(result.text, "answered 422: this is what the receiver has to say");
}

Test(transport, ends_by_itself_what_hangs)
{
    post(1, "127.0.0.1", "/hang", true);
    struct transport_result result = next_result();
    cr_expect_eq(result.end, TRANSPORT_UNREACHED, "%s", result.text);
    cr_expect_eq(result.response, 0);
}

Test(transport, takes_the_status_for_the_answer_however_the_rest_ends)
{
    post(1, "127.0.0.1", "/drip", true);
    post(2, "127.0.0.1", "/flood", true);
    post(3, "127.0.0.1", "/slow-head", true);
    for (int i = 0; i < 3; i++) {
        struct transport_result result = next_result();
        cr_expect_eq(result.end, TRANSPORT_ANSWERED, "%s", result.text);
        cr_expect_eq(result.response, 200);
    }
}

Test(transport, reports_broken_connections_and_nobody_there)
{
    post(1, "127.0.0.1", "/reset", true);
    struct transport_result result = next_result();
    cr_expect_eq(result.end, TRANSPORT_UNREACHED);
    cr_expect_eq(result.response, 0);
    child_stop(&receiver);
    post(2, "127.0.0.1", "/ok", true);
    result = next_result();
    cr_expect_eq(result.end, TRANSPORT_UNREACHED);
    cr_expect(strstr(result.text, "connect"), "%s", result.text);
}

Test(transport, reaches_no_private_address_however_it_is_spelt)
{
    static const char *const spellings[] = {"127.0.0.1", "localhost",          "0x7f000001", "2130706433",
                                            "127.1",     "[::ffff:127.0.0.1]", "0.0.0.0"};
    for (size_t i = 0; i < COUNT_OF(spellings); i++) {
        post((int64_t)i, spellings[i], "/ok", false);
        struct transport_result result = next_result();
        cr_expect_eq(result.end, TRANSPORT_FORBIDDEN, "%s: %s", spellings[i], result.text);
        cr_expect(strstr(result.text, "is a private address"), "%s", result.text);
    }
    cr_expect(receiver_heard_nothing());
}

/* 192.0.2.1 is set aside for documentation (RFC 5737): nothing is ever sent to it, and here not even
 * tried. */
Test(transport, sends_nothing_in_clear_to_public_addresses)
{
    post(1, "192.0.2.1", "/ok", true);
    struct transport_result result = next_result();
    cr_expect_eq(result.end, TRANSPORT_FORBIDDEN);
    cr_expect(strstr(result.text, "only https"), "%s", result.text);

    const struct transport_mail mail = {.host = "192.0.2.1",
                                        .port = 25,
                                        .security = TRANSPORT_PLAIN,
                                        .from = "a@example.org",
                                        .to = "b@example.org",
                                        .message = "\r\n",
                                        .message_length = 2};
    transport_start_mail(transport, 2, &mail);
    result = next_result();
    cr_expect_eq(result.end, TRANSPORT_FORBIDDEN);
    cr_expect(strstr(result.text, "with TLS only"), "%s", result.text);
}

Test(transport, takes_no_other_protocol_and_no_line_ends)
{
    static const char *const urls[] = {"file:///etc/passwd", "ftp://127.0.0.1/", "HTTP://127.0.0.1/", "",
                                       "https://example.org/\r\nX: y"};
    for (size_t i = 0; i < COUNT_OF(urls); i++) {
        const struct transport_post request = {.url = urls[i], .body = "", .allows_private_address = true};
        transport_start_post(transport, 1, &request);
        cr_expect_eq(next_result().end, TRANSPORT_FORBIDDEN, "%s", urls[i]);
    }
    const char *header = "X: y\r\nZ: evil";
    const struct transport_post request = {
        .url = "https://example.org/", .headers = &header, .header_count = 1, .body = ""};
    transport_start_post(transport, 1, &request);
    cr_expect_eq(next_result().end, TRANSPORT_FORBIDDEN);
}

Test(transport, takes_no_mail_that_could_add_a_command_or_show_a_password)
{
    struct transport_mail mail = {.host = "127.0.0.1",
                                  .port = receiver.port,
                                  .security = TRANSPORT_PLAIN,
                                  .from = "a@example.org",
                                  .to = "b@example.org",
                                  .message = "\r\n",
                                  .message_length = 2};
    struct transport_mail bad[] = {mail, mail, mail, mail};
    bad[0].to = "b@example.org>\r\nRCPT TO:<evil@example.org";
    bad[1].hello_name = "x\r\nMAIL";
    bad[2].host = "user@127.0.0.1";
    bad[3].user = "me";
    bad[3].password = "hunter";
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        transport_start_mail(transport, (int64_t)i, &bad[i]);
        struct transport_result result = next_result();
        cr_expect_eq(result.end, TRANSPORT_FORBIDDEN, "%zu: %s", i, result.text);
        cr_expect_null(strstr(result.text, "hunter"));
    }
    cr_expect(receiver_heard_nothing());
}

Test(transport, ignores_proxies_of_the_environment)
{
    setenv("http_proxy", "http://127.0.0.1:1", 1);
    setenv("all_proxy", "http://127.0.0.1:1", 1);
    post(1, "127.0.0.1", "/ok", true);
    cr_expect_eq(next_result().response, 204);
}

Test(transport, hands_out_results_in_the_order_of_their_coming)
{
    for (int64_t id = 0; id < TRANSPORT_MOST; id++)
        transport_report(transport, id, TRANSPORT_UNREACHED, "not sent");
    struct transport_result results[TRANSPORT_MOST];
    struct pollfd ready = {.fd = transport_fd(transport), .events = POLLIN};
    cr_expect_eq(transport_collect(transport, results, 3), 3);
    cr_expect_eq(poll(&ready, 1, 0), 1, "the rest would be forgotten");
    cr_expect_eq(transport_collect(transport, results + 3, TRANSPORT_MOST), TRANSPORT_MOST - 3);
    for (int64_t id = 0; id < TRANSPORT_MOST; id++)
        cr_expect_eq(results[id].id, id);
    cr_expect_eq(transport_collect(transport, results, 1), 0);
    cr_expect_eq(poll(&ready, 1, 0), 0, "nothing waits any more");
}

Test(transport, closes_while_transfers_hang)
{
    static const struct transport_limits patient = {.connect = 60000, .post = 600000, .mail = 600000};
    struct transport *own = transport;
    transport = transport_open(&patient, NULL);
    cr_assert(transport);
    for (int64_t id = 0; id < TRANSPORT_MOST; id++)
        post(id, "127.0.0.1", "/hang", true);
    transport_close(transport); /* returns, or the test runs into its time limit */
    transport = own;
}
