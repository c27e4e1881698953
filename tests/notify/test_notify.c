/* SPDX-License-Identifier: MIT */
/* Notices go to real servers on this machine. */
#include "notify/notify.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "notify/transport.h"
#include "support/child.h"
#include "support/example_notice.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <unistd.h>

enum { PATIENCE_MS = 30000, RECIPIENTS_MOST = 32 };

static const char new_secret[] = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";
static const char old_secret[] = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

static char folder[256];
static struct child receiver, sink;
static struct arena *arena; /* texts of the settings */
static struct config config;
static struct recipient recipients[RECIPIENTS_MOST];
static struct notify *notify;
static int64_t now;

static char *in_folder(const char *name)
{
    return arena_printf(arena, "%s/%s", folder, name);
}

static void set_up(void)
{
    struct error error = {0};
    arena = arena_new();
    child_make_folder(folder, sizeof folder);
    config = example_config();
    config.recipients = recipients;
    now = example_notice().created + MINUTE_MS;
    notify = notify_open(&config, &error);
    cr_assert(notify, "%s", error.text);
}

static void tear_down(void)
{
    notify_close(notify);
    child_stop(&receiver);
    child_stop(&sink);
    child_remove_folder(folder);
    arena_free(arena);
}

TestSuite(notify, .init = set_up, .fini = tear_down);

/* ---- The world around ---- */

static void start_receiver(const char *const *more)
{
    const char *arguments[16] = {"--log", in_folder("requests"), "--for", "120"};
    for (size_t i = 0; more && more[i]; i++)
        arguments[4 + i] = more[i];
    receiver = child_start("receiver.py", arguments);
}

static void start_sink(const char *const *more)
{
    const char *arguments[24] = {"--log", in_folder("commands"), "--folder", folder, "--for", "120"};
    for (size_t i = 0; more && more[i]; i++)
        arguments[6 + i] = more[i];
    sink = child_start("mail_sink.py", arguments);
    config.mail.host = "localhost";
    config.mail.port = sink.port;
    config.mail.security = MAIL_PLAIN;
}

static struct recipient *add_webhook(const char *id, const char *path)
{
    struct recipient *recipient = &recipients[config.recipient_count++];
    *recipient = (struct recipient){.id = id,
                                    .kind = RECIPIENT_WEBHOOK,
                                    .url = arena_printf(arena, "http://127.0.0.1:%d%s", receiver.port, path),
                                    .allows_private_address = true};
    return recipient;
}

static struct recipient *add_mailbox(const char *id, const char *address)
{
    struct recipient *recipient = &recipients[config.recipient_count++];
    *recipient = (struct recipient){.id = id, .kind = RECIPIENT_MAIL, .address = address};
    return recipient;
}

static struct secret secret_file(const char *name, const char *text)
{
    char *path = in_folder(name);
    int fd = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
    cr_assert_geq(fd, 0);
    cr_assert_eq(write(fd, text, strlen(text)), (ssize_t)strlen(text));
    close(fd);
    return (struct secret){.kind = SECRET_FILE, .name = path};
}

static void begin(const char *recipient, int64_t id, int64_t attempts)
{
    struct notice notice = example_notice();
    notice.id = id;
    notice.uid = arena_printf(arena, "notice-%lld", (long long)id);
    notice.recipient = recipient;
    notice.attempts = attempts;
    cr_assert_eq(notify_room(notify, recipient), 1);
    notify_begin(notify, &notice, NULL, now);
}

static struct delivery next_delivery(void)
{
    struct delivery delivery;
    CLEANUP(cleanup_fd) int loop = epoll_create1(EPOLL_CLOEXEC);
    struct epoll_event event = {.events = EPOLLIN};
    cr_assert_eq(epoll_ctl(loop, EPOLL_CTL_ADD, notify_fd(notify), &event), 0);
    while (notify_collect(notify, now, &delivery, 1) == 0)
        cr_assert_eq(epoll_wait(loop, &event, 1, PATIENCE_MS), 1, "no delivery came");
    return delivery;
}

static struct delivery deliver(const char *recipient, int64_t id)
{
    begin(recipient, id, 0);
    struct delivery delivery = next_delivery();
    cr_expect_eq(delivery.notice, id);
    cr_expect_eq(delivery.next_try == TIME_NONE, delivery.outcome != TRY_AGAIN);
    return delivery;
}

/* Contents of a file in the folder, "" where there is none; lives as long as the arena. */
static const char *content(const char *name)
{
    char *bytes = NULL;
    size_t length;
    if (!file_read(in_folder(name), 1 << 20, &bytes, &length, NULL))
        return "";
    char *copy = arena_strndup(arena, bytes, length);
    free(bytes);
    return copy;
}

static size_t count_of(const char *text, const char *piece)
{
    size_t count = 0;
    for (const char *at = text; (at = strstr(at, piece)); at++)
        count++;
    return count;
}

static void expect_outcome(struct delivery delivery, enum delivery_outcome outcome, int response)
{
    cr_expect_eq(delivery.outcome, outcome, "notice %lld: %s", (long long)delivery.notice, delivery.text);
    cr_expect_eq(delivery.response, response, "notice %lld: %s", (long long)delivery.notice, delivery.text);
}

/* ---- Webhooks ---- */

Test(notify, delivers_a_signed_event)
{
    start_receiver((const char *const[]){"--secret", new_secret, NULL});
    add_webhook("on-call", "/ok")->secret = secret_file("hook", new_secret);
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, DELIVERED, 204);
    cr_expect_not(delivery.needs_hand);
    const char *log = content("requests");
    cr_expect(strstr(log, "\"signed\": true"), "%s", log);
    cr_expect(strstr(log, "\"json\": true"));
    cr_expect(strstr(log, "\"webhook-id\": \"notice-1\""));
    cr_expect(strstr(log, "\"Content-Type\": \"application/cloudevents+json; charset=UTF-8\""));
    cr_expect(
        strstr(log, arena_printf(arena, "\"webhook-timestamp\": \"%lld\"", (long long)(now / SECOND_MS))));
    cr_expect_null(strstr(log, "Expect"));
}

Test(notify, signs_for_receivers_that_know_only_the_old_secret)
{
    start_receiver((const char *const[]){"--secret", old_secret, NULL});
    struct recipient *recipient = add_webhook("on-call", "/ok");
    recipient->secret = secret_file("new", new_secret);
    recipient->old_secret = secret_file("old", old_secret);
    expect_outcome(deliver("on-call", 1), DELIVERED, 204);
    cr_expect(strstr(content("requests"), "\"signed\": true"));
}

Test(notify, sends_without_signature_only_where_no_secret_is_set)
{
    start_receiver((const char *const[]){"--secret", new_secret, NULL});
    struct recipient *recipient = add_webhook("on-call", "/ok");
    expect_outcome(deliver("on-call", 1), DELIVERED, 204);
    cr_expect(strstr(content("requests"), "\"signed\": false"));
    recipient->secret = (struct secret){.kind = SECRET_FILE, .name = in_folder("absent")};
    struct delivery delivery = deliver("on-call", 2);
    expect_outcome(delivery, TRY_AGAIN, 0);
    cr_expect(delivery.needs_hand);
    cr_expect(strstr(delivery.text, "cannot open the secret file"), "%s", delivery.text);
    cr_expect_eq(count_of(content("requests"), "\"method\""), 1, "%s", content("requests"));
}

Test(notify, tries_again_after_a_server_error_with_the_same_id)
{
    start_receiver(NULL);
    add_webhook("on-call", "/fail/2/500");
    for (int64_t attempts = 0; attempts < 2; attempts++) {
        begin("on-call", 1, attempts);
        struct delivery delivery = next_delivery();
        expect_outcome(delivery, TRY_AGAIN, 500);
        cr_expect_not(delivery.needs_hand);
        int64_t step = attempts == 0 ? 5 * SECOND_MS : 30 * SECOND_MS;
        cr_expect(delivery.next_try >= now + step * 4 / 5 && delivery.next_try <= now + step * 6 / 5);
    }
    begin("on-call", 1, 2);
    expect_outcome(next_delivery(), DELIVERED, 204);
    cr_expect_eq(count_of(content("requests"), "\"webhook-id\": \"notice-1\""), 3);
}

Test(notify, waits_as_long_as_a_busy_receiver_asks)
{
    start_receiver(NULL);
    add_webhook("a", "/busy/429/600");
    add_webhook("b", "/busy/503/99999999");
    struct delivery delivery = deliver("a", 1);
    expect_outcome(delivery, TRY_AGAIN, 429);
    cr_expect_eq(delivery.next_try, now + 600 * SECOND_MS);
    delivery = deliver("b", 2);
    expect_outcome(delivery, TRY_AGAIN, 503);
    cr_expect_eq(delivery.next_try, now + DAY_MS);
}

Test(notify, follows_no_redirect)
{
    start_receiver(NULL);
    add_webhook("on-call", "/redirect");
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, TRY_AGAIN, 302);
    cr_expect(delivery.needs_hand);
    cr_expect_eq(count_of(content("requests"), "\"method\""), 1, "%s", content("requests"));
    cr_expect_null(strstr(content("requests"), "/ok"));
}

Test(notify, asks_for_a_hand_and_slows_down_where_the_receiver_does_not_understand)
{
    start_receiver(NULL);
    add_webhook("on-call", "/status/422");
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, TRY_AGAIN, 422);
    cr_expect(delivery.needs_hand);
    cr_expect_geq(delivery.next_try, now + 15 * MINUTE_MS);
    cr_expect(strstr(delivery.text, "what the receiver has to say"), "%s", delivery.text);
}

Test(notify, stops_where_the_receiver_is_gone)
{
    start_receiver(NULL);
    add_webhook("on-call", "/status/410");
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, REFUSED, 410);
    cr_expect(delivery.needs_hand);
}

Test(notify, lets_no_hanging_receiver_delay_another)
{
    start_receiver(NULL);
    add_webhook("stuck", "/hang");
    add_webhook("on-call", "/ok");
    begin("stuck", 1, 0);
    cr_expect_eq(notify_room(notify, "stuck"), 0);
    for (int64_t id = 2; id < 12; id++)
        expect_outcome(deliver("on-call", id), DELIVERED, 204);
    cr_expect_eq(notify_room(notify, "stuck"), 0, "it is still in the air");
}

Test(notify, reaches_private_addresses_only_where_told)
{
    start_receiver(NULL);
    add_webhook("on-call", "/ok")->allows_private_address = false;
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, TRY_AGAIN, 0);
    cr_expect(delivery.needs_hand);
    cr_expect(strstr(delivery.text, "allow_private_address"), "%s", delivery.text);
    cr_expect_str_eq(content("requests"), "");
}

Test(notify, refuses_for_good_what_nobody_is_there_to_receive)
{
    struct delivery delivery = deliver("somebody-removed", 1);
    expect_outcome(delivery, REFUSED, 0);
    cr_expect(strstr(delivery.text, "somebody-removed"), "%s", delivery.text);
}

Test(notify, takes_new_settings_for_what_is_begun_later)
{
    start_receiver(NULL);
    add_webhook("on-call", "/hang");
    begin("on-call", 1, 0);
    struct config renewed = config;
    struct recipient other = recipients[0];
    other.id = "other";
    other.url = arena_printf(arena, "http://127.0.0.1:%d/ok", receiver.port);
    renewed.recipients = &other;
    notify_reconfigure(notify, &renewed);
    expect_outcome(deliver("other", 2), DELIVERED, 204);
    cr_expect_eq(notify_room(notify, "on-call"), 0);
}

/* ---- Trust ---- */

static void make_certificates(void)
{
    child_run("make_certificate.sh", folder);
    start_receiver((const char *const[]){"--tls", in_folder("server.pem"), in_folder("server.key"), NULL});
}

static struct recipient *add_secure_webhook(const char *id, const char *host, const char *ca)
{
    struct recipient *recipient = add_webhook(id, "/ok");
    recipient->url = arena_printf(arena, "https://%s:%d/ok", host, receiver.port);
    recipient->ca_file = ca ? in_folder(ca) : NULL;
    return recipient;
}

Test(notify, trusts_only_certificates_of_a_known_authority)
{
    make_certificates();
    add_secure_webhook("good", "localhost", "ca.pem");
    add_secure_webhook("wrong", "localhost", "other-ca.pem");
    add_secure_webhook("unknown", "localhost", NULL);
    expect_outcome(deliver("good", 1), DELIVERED, 204);
    static const char *const bad[] = {"wrong", "unknown"};
    for (size_t i = 0; i < COUNT_OF(bad); i++) {
        struct delivery delivery = deliver(bad[i], 2);
        expect_outcome(delivery, TRY_AGAIN, 0);
        cr_expect(delivery.needs_hand, "%s", delivery.text);
        cr_expect(strstr(delivery.text, "certificate"), "%s", delivery.text);
    }
    cr_expect_eq(count_of(content("requests"), "\"method\""), 1, "%s", content("requests"));
}

Test(notify, trusts_only_certificates_of_the_host_itself)
{
    child_run("make_certificate.sh", folder);
    start_receiver((const char *const[]){"--address", "127.0.0.2", "--tls", in_folder("server.pem"),
                                         in_folder("server.key"), NULL});
    add_secure_webhook("on-call", "127.0.0.2", "ca.pem");
    struct delivery delivery = deliver("on-call", 1);
    expect_outcome(delivery, TRY_AGAIN, 0);
    cr_expect(delivery.needs_hand, "%s", delivery.text);
    cr_expect_str_eq(content("requests"), "");
}

/* ---- Mail ---- */

static void start_secure_sink(enum mail_security security)
{
    child_run("make_certificate.sh", folder);
    const char *const arguments[] = {"--security",
                                     security == MAIL_TLS ? "tls" : "starttls",
                                     "--tls",
                                     in_folder("server.pem"),
                                     in_folder("server.key"),
                                     "--auth",
                                     "rillward:open sesame",
                                     NULL};
    start_sink(arguments);
    config.mail.security = security;
    config.mail.ca_file = in_folder("ca.pem");
    config.mail.user = "rillward";
    config.mail.password = secret_file("password", "open sesame\n");
}

Test(notify, delivers_mail_as_it_was_written)
{
    start_sink(NULL);
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, DELIVERED, 250);
    cr_expect(strstr(delivery.text, "queued as 1"), "%s", delivery.text);
    const char *mail = content("0001.eml");
    cr_expect(strstr(mail, "Message-ID: <notice-1@example.org>\r\n"), "%s", mail);
    cr_expect(strstr(mail, "STILL SO at the last sample: 1.83 mg/L"));
    cr_expect(strstr(content("commands"), "\"EHLO\", \"address\": \"gauge.example.org\""), "%s",
              content("commands"));
    cr_expect_eq(count_of(content("commands"), "\"RCPT\""), 1);
}

Test(notify, delivers_mail_over_tls_after_a_login)
{
    static const enum mail_security securities[] = {MAIL_STARTTLS, MAIL_TLS};
    for (size_t i = 0; i < COUNT_OF(securities); i++) {
        start_secure_sink(securities[i]);
        config.recipient_count = 0;
        add_mailbox("desk", "desk@example.org");
        expect_outcome(deliver("desk", 1), DELIVERED, 250);
        const char *commands = content("commands");
        cr_expect_eq(count_of(commands, "\"DATA\", \"address\": \"\", \"tls\": true, \"user\": \"rillward\""),
                     i + 1, "%s", commands);
        child_stop(&sink);
    }
}

Test(notify, asks_for_a_hand_where_the_login_is_refused)
{
    start_secure_sink(MAIL_STARTTLS);
    config.mail.password = secret_file("wrong", "open barley");
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, TRY_AGAIN, 535);
    cr_expect(delivery.needs_hand);
    cr_expect_null(strstr(delivery.text, "barley"));
    cr_expect_null(strstr(content("commands"), "\"MAIL\""));
}

Test(notify, sends_no_mail_in_clear_where_tls_was_stripped)
{
    start_sink(NULL);
    config.mail.security = MAIL_STARTTLS;
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, TRY_AGAIN, delivery.response);
    cr_expect(delivery.needs_hand, "%s", delivery.text);
    cr_expect(strstr(content("commands"), "\"EHLO\""));
    cr_expect_null(strstr(content("commands"), "\"MAIL\""));
}

Test(notify, trusts_no_mail_server_with_a_strange_certificate)
{
    start_secure_sink(MAIL_STARTTLS);
    config.mail.ca_file = in_folder("other-ca.pem");
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    cr_expect_eq(delivery.outcome, TRY_AGAIN);
    cr_expect(delivery.needs_hand, "%s", delivery.text);
    cr_expect_null(strstr(content("commands"), "\"MAIL\""));
}

Test(notify, comes_back_where_it_was_greylisted)
{
    start_sink((const char *const[]){"--greylist", "1", NULL});
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, TRY_AGAIN, 451);
    cr_expect_not(delivery.needs_hand);
    cr_expect(strstr(delivery.text, "greylisted"), "%s", delivery.text);
    cr_expect_leq(delivery.next_try, now + 6 * SECOND_MS);
    begin("desk", 1, 1);
    expect_outcome(next_delivery(), DELIVERED, 250);
    cr_expect(strstr(content("0001.eml"), "Message-ID: <notice-1@example.org>"));
}

Test(notify, gives_up_a_mailbox_that_is_none_and_serves_the_others)
{
    start_sink((const char *const[]){"--refuse", "nobody@example.org", NULL});
    add_mailbox("gone", "nobody@example.org");
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("gone", 1);
    expect_outcome(delivery, REFUSED, 550);
    cr_expect(strstr(delivery.text, "5.1.1 no such mailbox"), "%s", delivery.text);
    expect_outcome(deliver("desk", 2), DELIVERED, 250);
}

Test(notify, gives_up_a_message_that_is_not_wanted)
{
    start_sink((const char *const[]){"--refuse-message", NULL});
    add_mailbox("desk", "desk@example.org");
    expect_outcome(deliver("desk", 1), REFUSED, 554);
}

Test(notify, keeps_the_notice_where_the_server_refuses_us_rather_than_the_recipient)
{
    start_sink((const char *const[]){"--refuse-sender", "rillward@example.org", NULL});
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, TRY_AGAIN, 553);
    cr_expect(delivery.needs_hand);
}

Test(notify, lets_no_hanging_mail_server_delay_a_webhook)
{
    start_sink((const char *const[]){"--hang", "data", NULL});
    start_receiver(NULL);
    add_mailbox("desk", "desk@example.org");
    add_webhook("on-call", "/ok");
    begin("desk", 1, 0);
    while (!strstr(content("commands"), "\"DATA\"")) /* until it hangs */
        expect_outcome(deliver("on-call", 2), DELIVERED, 204);
    expect_outcome(deliver("on-call", 3), DELIVERED, 204);
    cr_expect_eq(notify_room(notify, "desk"), 0);
}

Test(notify, waits_for_no_goodbye)
{
    start_sink((const char *const[]){"--hang", "quit", NULL});
    add_mailbox("desk", "desk@example.org");
    expect_outcome(deliver("desk", 1), DELIVERED, 250);
}

Test(notify, asks_for_a_hand_where_no_mail_server_is_set)
{
    add_mailbox("desk", "desk@example.org");
    struct delivery delivery = deliver("desk", 1);
    expect_outcome(delivery, TRY_AGAIN, 0);
    cr_expect(delivery.needs_hand);
}

/* ---- Room ---- */

Test(notify, leaves_room_for_webhooks_beside_hanging_mail)
{
    start_sink((const char *const[]){"--hang", "data", NULL});
    start_receiver(NULL);
    for (int i = 0; i < 9; i++)
        add_mailbox(arena_printf(arena, "mail-%d", i), "desk@example.org");
    for (int i = 0; i < 9; i++)
        add_webhook(arena_printf(arena, "hook-%d", i), "/hang");
    for (int i = 0; i < 8; i++)
        begin(recipients[i].id, i, 0);
    cr_expect_eq(notify_room(notify, "mail-0"), 0);
    cr_expect_eq(notify_room(notify, "mail-8"), 0);
    for (int i = 0; i < 8; i++)
        begin(recipients[9 + i].id, 9 + i, 0);
    cr_expect_eq(notify_room(notify, "hook-8"), 0);
}

/* ---- Judgement ---- */

static struct delivery judged(enum transport_end end, int response, int64_t retry_after, int64_t age)
{
    const struct attempt attempt = {.notice = 1, .created = now - age, .attempts = 1, .seed = 1};
    const struct transport_result result = {
        .end = end, .response = response, .retry_after = retry_after, .text = "what happened"};
    return notify_judge(&attempt, &result, now);
}

Test(notify, judges_every_answer)
{
    static const struct {
        int response;
        enum delivery_outcome outcome;
        bool needs_hand;
    } rows[] = {
        {200, DELIVERED, false}, {202, DELIVERED, false}, {204, DELIVERED, false}, {250, DELIVERED, false},
        {301, TRY_AGAIN, true},  {308, TRY_AGAIN, true},  {400, TRY_AGAIN, true},  {401, TRY_AGAIN, true},
        {403, TRY_AGAIN, true},  {404, TRY_AGAIN, true},  {408, TRY_AGAIN, false}, {410, REFUSED, true},
        {413, TRY_AGAIN, true},  {415, TRY_AGAIN, true},  {422, TRY_AGAIN, true},  {425, TRY_AGAIN, false},
        {429, TRY_AGAIN, false}, {500, TRY_AGAIN, false}, {502, TRY_AGAIN, false}, {503, TRY_AGAIN, false},
        {504, TRY_AGAIN, false},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct delivery delivery = judged(TRANSPORT_ANSWERED, rows[i].response, 0, 0);
        cr_expect_eq(delivery.outcome, rows[i].outcome, "%d", rows[i].response);
        cr_expect_eq(delivery.needs_hand, rows[i].needs_hand, "%d", rows[i].response);
    }
}

Test(notify, gives_up_after_five_days_and_says_so)
{
    cr_expect_eq(judged(TRANSPORT_UNREACHED, 0, 0, 4 * DAY_MS).outcome, TRY_AGAIN);
    struct delivery delivery = judged(TRANSPORT_UNREACHED, 0, 0, 5 * DAY_MS + 1);
    cr_expect_eq(delivery.outcome, REFUSED);
    cr_expect(delivery.needs_hand);
    cr_expect_str_eq(delivery.text, "given up after five days, at last: what happened");
    cr_expect_eq(judged(TRANSPORT_ANSWERED, 204, 0, 9 * DAY_MS).outcome, DELIVERED);
}

Test(notify, never_comes_back_sooner_than_its_own_delay)
{
    cr_expect_geq(judged(TRANSPORT_ANSWERED, 429, 1, 0).next_try, now + 4 * SECOND_MS);
    cr_expect_geq(judged(TRANSPORT_ANSWERED, 429, INT64_MAX, 0).next_try, now + DAY_MS);
    cr_expect_leq(judged(TRANSPORT_ANSWERED, 429, INT64_MAX, 0).next_try, now + DAY_MS);
}
