/* SPDX-License-Identifier: MIT */
#include "notify/transport.h"

#include "base/memory.h"
#include "base/text.h"
#include "notify/peer.h"

#include <assert.h>
#include <curl/curl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

enum {
    ANSWER_LIMIT = 64 * 1024, /* bytes of a response that are read at all */
    ANSWER_KEPT = 120,        /* bytes of it that are quoted */
    STACK_SIZE = 512 * 1024,
    SLOWEST = 10,  /* bytes/s, HTTP ... */
    SLOW_FOR = 20, /* ... over this many seconds */
};

/* Belongs to its thread from pthread_create until it stands in the list of the done. */
struct transfer {
    struct transfer *next; /* in the list of the done */
    struct transport *transport;
    pthread_t thread;
    bool has_thread;

    CURL *curl;
    struct curl_slist *headers, *recipients;
    char *body;
    size_t body_length, body_sent;
    bool is_mail, allows_private_address, is_plain; /* is_plain: no TLS at all */

    char refusal[128];            /* why we did not connect; "" where we did */
    char answer[ANSWER_KEPT + 1]; /* start of an HTTP body, last line of a mail server's reply */
    size_t answer_length, answer_read;
    bool has_named_recipient; /* mail: RCPT was sent, so a refusal is about this mail, not about us */
    bool has_said_goodbye;
    curl_socket_t socket;
    char curl_text[CURL_ERROR_SIZE];
    struct transport_result result;
};

struct transport {
    struct transport_limits limits;
    int fd; /* eventfd */
    atomic_bool is_closing;
    size_t running;        /* started and not collected; the owner's thread only */
    pthread_mutex_t lock;  /* of the list */
    struct transfer *done; /* oldest first */
};

const struct transport_limits transport_usual_limits = {.connect = 10000, .post = 30000, .mail = 120000};

static bool library_is_complete(struct error *error);
static struct transfer *transfer_new(struct transport *transport, int64_t id);
static void transfer_free(struct transfer *transfer);
static void set_common(struct transfer *transfer, const char *ca_file);
static void set_post(struct transfer *transfer, const struct transport_post *post);
static void set_mail(struct transfer *transfer, const struct transport_mail *mail);
static char *mail_url(const struct transport_mail *mail);
static bool is_clean(const char *string);
static void run(struct transfer *transfer);
static void *run_thread(void *argument);
static void finish(struct transfer *transfer);
static struct transfer *take_done(struct transport *transport);

static void judge(struct transfer *transfer, CURLcode code);
static void judge_post(struct transfer *transfer, CURLcode code);
static void judge_mail(struct transfer *transfer, CURLcode code);
static enum transport_end end_of_failure(const struct transfer *transfer, CURLcode code);
static void end_with(struct transfer *transfer, enum transport_end end, const char *text);

static curl_socket_t open_socket(void *argument, curlsocktype purpose, struct curl_sockaddr *address);
static const char *reason_against(const struct transfer *transfer, const struct sockaddr *address);
static size_t take_answer(char *bytes, size_t size, size_t count, void *argument);
static size_t give_body(char *ret, size_t size, size_t count, void *argument);
static int hear_dialogue(CURL *curl, curl_infotype type, char *bytes, size_t length, void *argument);
static int check_closing(void *argument, curl_off_t a, curl_off_t b, curl_off_t c, curl_off_t d);
static void keep_answer(struct transfer *transfer, const char *bytes, size_t length);

struct transport *transport_open(const struct transport_limits *limits, struct error *error)
{
    if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK) {
        fail(error, ERROR_SYSTEM, "the network library cannot be started");
        return NULL;
    }
    int fd = library_is_complete(error) ? eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK) : -2;
    if (fd < 0) {
        if (fd == -1)
            fail_errno(error, ERROR_SYSTEM, "cannot make a descriptor for the network");
        curl_global_cleanup();
        return NULL;
    }
    struct transport *transport = x_alloc(sizeof *transport);
    transport->limits = *limits;
    transport->fd = fd;
    atomic_init(&transport->is_closing, false);
    pthread_mutex_init(&transport->lock, NULL);
    return transport;
}

void transport_close(struct transport *transport)
{
    if (!transport)
        return;
    atomic_store(&transport->is_closing, true);
    while (transport->running > 0) {
        struct transfer *transfer = take_done(transport);
        if (transfer) {
            transfer_free(transfer);
            continue;
        }
        struct pollfd next = {.fd = transport->fd, .events = POLLIN};
        eventfd_t ignored;
        (void)poll(&next, 1, -1);
        (void)eventfd_read(transport->fd, &ignored);
    }
    pthread_mutex_destroy(&transport->lock);
    close(transport->fd);
    free(transport);
    curl_global_cleanup();
}

int transport_fd(const struct transport *transport)
{
    return transport->fd;
}

void transport_start_post(struct transport *transport, int64_t id, const struct transport_post *post)
{
    struct transfer *transfer = transfer_new(transport, id);
    bool is_http = text_starts_with(post->url, "http://");
    bool is_good = is_clean(post->url) && (is_http || text_starts_with(post->url, "https://"));
    for (size_t i = 0; i < post->header_count; i++)
        is_good &= is_clean(post->headers[i]);
    if (!is_good) {
        end_with(transfer, TRANSPORT_FORBIDDEN,
                 "the address or a header cannot be sent, expected https:// and no control bytes");
        finish(transfer);
        return;
    }
    transfer->is_plain = is_http;
    set_common(transfer, post->ca_file);
    set_post(transfer, post);
    run(transfer);
}

void transport_start_mail(struct transport *transport, int64_t id, const struct transport_mail *mail)
{
    struct transfer *transfer = transfer_new(transport, id);
    transfer->is_mail = true;
    transfer->is_plain = mail->security == TRANSPORT_PLAIN;
    CLEANUP(cleanup_free) char *url = mail_url(mail);
    if (!url || !is_clean(mail->from) || !is_clean(mail->to))
        end_with(transfer, TRANSPORT_FORBIDDEN,
                 "the mail server's name, our name or an address cannot be used");
    else if (transfer->is_plain && mail->user)
        end_with(transfer, TRANSPORT_FORBIDDEN,
                 "a login is not sent without TLS, set 'security' to starttls or tls");
    if (*transfer->result.text) {
        finish(transfer);
        return;
    }
    set_common(transfer, mail->ca_file);
    curl_easy_setopt(transfer->curl, CURLOPT_URL, url);
    set_mail(transfer, mail);
    run(transfer);
}

void transport_report(struct transport *transport, int64_t id, enum transport_end end, const char *text)
{
    struct transfer *transfer = transfer_new(transport, id);
    end_with(transfer, end, text);
    finish(transfer);
}

size_t transport_collect(struct transport *transport, struct transport_result *ret, size_t most)
{
    size_t count = 0;
    eventfd_t ignored;
    (void)eventfd_read(transport->fd, &ignored); /* not readable means only that nothing is there */
    while (count < most) {
        struct transfer *transfer = take_done(transport);
        if (!transfer)
            return count;
        ret[count++] = transfer->result;
        transfer_free(transfer);
    }
    eventfd_write(transport->fd, 1); /* perhaps more: stay readable */
    return count;
}

/* ---- A transfer's life ---- */

static struct transfer *transfer_new(struct transport *transport, int64_t id)
{
    assert(transport->running < TRANSPORT_MOST);
    struct transfer *transfer = x_alloc(sizeof *transfer);
    transfer->transport = transport;
    transfer->socket = CURL_SOCKET_BAD;
    transfer->result.id = id;
    transport->running++;
    return transfer;
}

/* Only the owner's thread comes here, after the transfer's own has left it. */
static void transfer_free(struct transfer *transfer)
{
    if (transfer->has_thread)
        pthread_join(transfer->thread, NULL);
    transfer->transport->running--;
    curl_easy_cleanup(transfer->curl);
    curl_slist_free_all(transfer->headers);
    curl_slist_free_all(transfer->recipients);
    free(transfer->body);
    free(transfer);
}

static void run(struct transfer *transfer)
{
    sigset_t all, before;
    sigfillset(&all);
    pthread_attr_t attributes;
    pthread_attr_init(&attributes);
    pthread_attr_setstacksize(&attributes, STACK_SIZE);
    pthread_sigmask(SIG_SETMASK, &all, &before); /* the main thread's; a SIGPIPE ends with the transfer */
    transfer->has_thread = true;
    int number = pthread_create(&transfer->thread, &attributes, run_thread, transfer);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    pthread_attr_destroy(&attributes);
    if (number == 0)
        return;
    transfer->has_thread = false;
    end_with(transfer, TRANSPORT_UNREACHED,
             "no thread could be started, the machine is short of memory or of threads");
    finish(transfer);
}

static void *run_thread(void *argument)
{
    struct transfer *transfer = argument;
    judge(transfer, curl_easy_perform(transfer->curl));
    finish(transfer);
    return NULL;
}

static void finish(struct transfer *transfer)
{
    struct transport *transport = transfer->transport;
    pthread_mutex_lock(&transport->lock);
    struct transfer **end = &transport->done;
    while (*end)
        end = &(*end)->next;
    *end = transfer;
    eventfd_write(transport->fd, 1); /* inside the lock: afterwards the owner may free everything */
    pthread_mutex_unlock(&transport->lock);
}

static struct transfer *take_done(struct transport *transport)
{
    pthread_mutex_lock(&transport->lock);
    struct transfer *transfer = transport->done;
    if (transfer)
        transport->done = transfer->next;
    pthread_mutex_unlock(&transport->lock);
    return transfer;
}

/* ---- Options ---- */

static bool library_is_complete(struct error *error)
{
    const curl_version_info_data *info = curl_version_info(CURLVERSION_NOW);
    bool has_https = false, has_smtps = false;
    for (const char *const *protocol = info->protocols; *protocol; protocol++) {
        has_https |= strcmp(*protocol, "https") == 0;
        has_smtps |= strcmp(*protocol, "smtps") == 0;
    }
    if (!has_https || !has_smtps)
        return fail(error, ERROR_SYSTEM,
                    "the network library libcurl %s knows no https or no smtps, install a full one",
                    info->version);
    return true;
}

static void set_common(struct transfer *transfer, const char *ca_file)
{
    CURL *curl = transfer->curl = curl_easy_init();
    if (!curl)
        abort(); /* out of memory */
    const struct transport_limits *limits = &transfer->transport->limits;
    curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, transfer->curl_text);
    curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(curl, CURLOPT_QUICK_EXIT, 1L); /* do not wait for a name server that does not answer */
    curl_easy_setopt(curl, CURLOPT_NOPROXY, "*");
    curl_easy_setopt(curl, CURLOPT_NETRC, (long)CURL_NETRC_IGNORED);
    curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(curl, CURLOPT_FORBID_REUSE, 1L);
    curl_easy_setopt(curl, CURLOPT_SSL_VERIFYPEER, 1L);
    curl_easy_setopt(curl, CURLOPT_SSL_VERIFYHOST, 2L);
    curl_easy_setopt(curl, CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
    if (ca_file)
        curl_easy_setopt(curl, CURLOPT_CAINFO, ca_file);
    curl_easy_setopt(curl, CURLOPT_CONNECTTIMEOUT_MS, (long)limits->connect);
    curl_easy_setopt(curl, CURLOPT_TIMEOUT_MS, (long)(transfer->is_mail ? limits->mail : limits->post));
    curl_easy_setopt(curl, CURLOPT_OPENSOCKETFUNCTION, open_socket);
    curl_easy_setopt(curl, CURLOPT_OPENSOCKETDATA, transfer);
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, take_answer);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, transfer);
    curl_easy_setopt(curl, CURLOPT_XFERINFOFUNCTION, check_closing);
    curl_easy_setopt(curl, CURLOPT_XFERINFODATA, transfer->transport);
    curl_easy_setopt(curl, CURLOPT_NOPROGRESS, 0L);
}

static void set_post(struct transfer *transfer, const struct transport_post *post)
{
    CURL *curl = transfer->curl;
    transfer->allows_private_address = post->allows_private_address;
    transfer->body_length = post->body_length;
    transfer->body = x_strndup(post->body, post->body_length);
    transfer->headers = curl_slist_append(NULL, "Expect:"); /* no waiting for "100 Continue" */
    for (size_t i = 0; i < post->header_count; i++)
        transfer->headers = curl_slist_append(transfer->headers, post->headers[i]);
    curl_easy_setopt(curl, CURLOPT_URL, post->url);
    curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, transfer->is_plain ? "http" : "https");
    curl_easy_setopt(curl, CURLOPT_HTTP_VERSION, (long)CURL_HTTP_VERSION_1_1);
    curl_easy_setopt(curl, CURLOPT_USERAGENT, "rillward");
    curl_easy_setopt(curl, CURLOPT_HTTPHEADER, transfer->headers);
    curl_easy_setopt(curl, CURLOPT_POST, 1L);
    curl_easy_setopt(curl, CURLOPT_POSTFIELDS, transfer->body);
    curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)transfer->body_length);
    curl_easy_setopt(curl, CURLOPT_LOW_SPEED_LIMIT, (long)SLOWEST);
    curl_easy_setopt(curl, CURLOPT_LOW_SPEED_TIME, (long)SLOW_FOR);
}

static void set_mail(struct transfer *transfer, const struct transport_mail *mail)
{
    CURL *curl = transfer->curl;
    transfer->allows_private_address = true; /* relays stand in the operator's own network */
    transfer->body_length = mail->message_length;
    transfer->body = x_strndup(mail->message, mail->message_length);
    CLEANUP(cleanup_free) char *from = x_printf("<%s>", mail->from), *to = x_printf("<%s>", mail->to);
    transfer->recipients = curl_slist_append(NULL, to);
    curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, "smtp,smtps");
    curl_easy_setopt(curl, CURLOPT_USE_SSL, (long)(transfer->is_plain ? CURLUSESSL_NONE : CURLUSESSL_ALL));
    if (mail->user) {
        curl_easy_setopt(curl, CURLOPT_USERNAME, mail->user);
        curl_easy_setopt(curl, CURLOPT_PASSWORD, mail->password);
    }
    curl_easy_setopt(curl, CURLOPT_MAIL_FROM, from);
    curl_easy_setopt(curl, CURLOPT_MAIL_RCPT, transfer->recipients);
    curl_easy_setopt(curl, CURLOPT_UPLOAD, 1L);
    curl_easy_setopt(curl, CURLOPT_READFUNCTION, give_body);
    curl_easy_setopt(curl, CURLOPT_READDATA, transfer);
    curl_easy_setopt(curl, CURLOPT_INFILESIZE_LARGE, (curl_off_t)transfer->body_length);
    curl_easy_setopt(curl, CURLOPT_VERBOSE, 1L); /* the words of the dialogue come no other way */
    curl_easy_setopt(curl, CURLOPT_DEBUGFUNCTION, hear_dialogue);
    curl_easy_setopt(curl, CURLOPT_DEBUGDATA, transfer);
}

/* NULL where a name holds what would change the meaning of the address. */
static char *mail_url(const struct transport_mail *mail)
{
    static const char allowed[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._:[]";
    const char *hello = mail->hello_name ? mail->hello_name : "";
    if (!*mail->host || mail->host[strspn(mail->host, allowed)] || hello[strspn(hello, allowed)])
        return NULL;
    bool is_ipv6 = strchr(mail->host, ':') && *mail->host != '[';
    return x_printf("%s://%s%s%s:%d/%s", mail->security == TRANSPORT_TLS ? "smtps" : "smtp",
                    is_ipv6 ? "[" : "", mail->host, is_ipv6 ? "]" : "", mail->port, hello);
}

/* The library sends what it is given: a line end in here would be a header or a command of its own. */
static bool is_clean(const char *string)
{
    for (const char *c = string; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            return false;
    return *string;
}

/* ---- What came of it ---- */

static void judge(struct transfer *transfer, CURLcode code)
{
    long response = 0;
    curl_easy_getinfo(transfer->curl, CURLINFO_RESPONSE_CODE, &response);
    transfer->result.response = (int)response;
    if (transfer->is_mail)
        judge_mail(transfer, code);
    else
        judge_post(transfer, code);
}

/* A final status is the receiver's word, even where what follows was too long, too slow or broken off: the
 * body means nothing to us, and sending again what was accepted would only double it. */
static void judge_post(struct transfer *transfer, CURLcode code)
{
    curl_off_t retry_after = 0;
    curl_easy_getinfo(transfer->curl, CURLINFO_RETRY_AFTER, &retry_after);
    transfer->result.retry_after =
        retry_after > 0 ? retry_after : 0; /* libraries before 8.12 give negative ones */
    if (code != CURLE_OK && transfer->result.response < 200) {
        transfer->result.response = 0;
        end_with(transfer, end_of_failure(transfer, code), transfer->curl_text);
        return;
    }
    char text[ANSWER_KEPT + 64];
    snprintf(text, sizeof text, "answered %d%s%s", transfer->result.response,
             transfer->answer_length ? ": " : "", transfer->answer);
    end_with(transfer, TRANSPORT_ANSWERED, text);
}

/* The library gives one code for "try later" and "never": the server's own number decides, and whether it
 * was said after the recipient had been named. */
static void judge_mail(struct transfer *transfer, CURLcode code)
{
    if (code == CURLE_OK) {
        end_with(transfer, TRANSPORT_ANSWERED, transfer->answer);
        return;
    }
    enum transport_end end = end_of_failure(transfer, code);
    int response = transfer->result.response;
    bool is_refusal = response >= 400 && response < 600;
    if (is_refusal && end == TRANSPORT_UNREACHED && response >= 500)
        end = transfer->has_named_recipient ? TRANSPORT_TURNED_AWAY : TRANSPORT_DISTRUSTED;
    if (is_refusal && response < 500)
        end = TRANSPORT_UNREACHED; /* busy, greylisted, login service down */
    end_with(transfer, end, is_refusal && *transfer->answer ? transfer->answer : transfer->curl_text);
}

static enum transport_end end_of_failure(const struct transfer *transfer, CURLcode code)
{
    switch (code) {
    case CURLE_COULDNT_CONNECT: return *transfer->refusal ? TRANSPORT_FORBIDDEN : TRANSPORT_UNREACHED;
    case CURLE_PEER_FAILED_VERIFICATION:
    case CURLE_SSL_CACERT_BADFILE:
    case CURLE_SSL_CERTPROBLEM:
    case CURLE_SSL_CIPHER:
    case CURLE_SSL_ISSUER_ERROR:
    case CURLE_USE_SSL_FAILED:
    case CURLE_LOGIN_DENIED: return TRANSPORT_DISTRUSTED;
    case CURLE_URL_MALFORMAT:
    case CURLE_UNSUPPORTED_PROTOCOL: return TRANSPORT_FORBIDDEN;
    default: return TRANSPORT_UNREACHED;
    }
}

static void end_with(struct transfer *transfer, enum transport_end end, const char *text)
{
    struct transport_result *result = &transfer->result;
    result->end = end;
    if (end == TRANSPORT_FORBIDDEN && *transfer->refusal)
        text = transfer->refusal;
    text_make_visible(*text ? text : "the connection failed", result->text, sizeof result->text);
}

/* ---- Called by the library, on the transfer's thread ---- */

static curl_socket_t open_socket(void *argument, curlsocktype purpose, struct curl_sockaddr *address)
{
    struct transfer *transfer = argument;
    (void)purpose;
    const char *reason = reason_against(transfer, &address->addr);
    char printed[PEER_SIZE];
    snprintf(transfer->refusal, sizeof transfer->refusal, "%s%s",
             reason ? peer_print(&address->addr, printed) : "", reason ? reason : "");
    if (reason)
        return CURL_SOCKET_BAD;
    transfer->socket = socket(address->family, address->socktype | SOCK_CLOEXEC, address->protocol);
    return transfer->socket;
}

/* NULL where we may connect. */
static const char *reason_against(const struct transfer *transfer, const struct sockaddr *address)
{
    if (transfer->is_mail)
        return transfer->is_plain && !peer_is_loopback(address)
                   ? " is another machine, mail goes there with TLS only"
                   : NULL;
    bool is_private = peer_is_private(address);
    if (is_private && !transfer->allows_private_address)
        return " is a private address, set 'allow_private_address: true' if it is meant";
    return !is_private && transfer->is_plain ? " is a public address, only https:// goes there" : NULL;
}

static size_t take_answer(char *bytes, size_t size, size_t count, void *argument)
{
    struct transfer *transfer = argument;
    keep_answer(transfer, bytes, size * count);
    transfer->answer_read += size * count;
    return transfer->answer_read > ANSWER_LIMIT ? 0 : size * count;
}

static size_t give_body(char *ret, size_t size, size_t count, void *argument)
{
    struct transfer *transfer = argument;
    size_t length = transfer->body_length - transfer->body_sent;
    if (length > size * count)
        length = size * count;
    memcpy(ret, transfer->body + transfer->body_sent, length);
    transfer->body_sent += length;
    return length;
}

/* Commands and replies, one line a call. Commands may hold a login: nothing of them is kept.
 * After QUIT the library would wait for the server's goodbye, for minutes where none comes. The outcome is
 * known by then: we said goodbye, and read no more. */
static int hear_dialogue(CURL *curl, curl_infotype type, char *bytes, size_t length, void *argument)
{
    struct transfer *transfer = argument;
    (void)curl;
    if (type == CURLINFO_HEADER_OUT && length >= 4) {
        transfer->has_named_recipient |= memcmp(bytes, "RCPT", 4) == 0;
        transfer->has_said_goodbye |= memcmp(bytes, "QUIT", 4) == 0;
        if (transfer->has_said_goodbye)
            shutdown(transfer->socket, SHUT_RD);
    }
    if (type == CURLINFO_HEADER_IN && !transfer->has_said_goodbye) {
        transfer->answer_length = 0;
        keep_answer(transfer, bytes, length);
    }
    return 0;
}

static int check_closing(void *argument, curl_off_t a, curl_off_t b, curl_off_t c, curl_off_t d)
{
    struct transport *transport = argument;
    (void)a, (void)b, (void)c, (void)d;
    return atomic_load(&transport->is_closing);
}

/* One line of it. */
static void keep_answer(struct transfer *transfer, const char *bytes, size_t length)
{
    for (size_t i = 0; i < length && transfer->answer_length < ANSWER_KEPT; i++) {
        bool is_space = (unsigned char)bytes[i] <= ' ';
        if (is_space &&
            (transfer->answer_length == 0 || transfer->answer[transfer->answer_length - 1] == ' '))
            continue;
        transfer->answer[transfer->answer_length++] = is_space ? ' ' : bytes[i];
    }
    while (transfer->answer_length > 0 && transfer->answer[transfer->answer_length - 1] == ' ')
        transfer->answer_length--;
    transfer->answer[transfer->answer_length] = '\0';
}
