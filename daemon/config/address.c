/* SPDX-License-Identifier: MIT */
#include "config/address.h"

#include "base/text.h"

#include <arpa/inet.h>
#include <ctype.h>
#include <string.h>

enum { LONGEST_MAIL = 254, LONGEST_LOCAL = 64, LONGEST_HOST = 253, LONGEST_LABEL = 63, LONGEST_URL = 2000 };

static bool is_local_part(const char *text, size_t length);
static bool is_host_name(const char *text, size_t length);
static bool is_authority(const char *text, size_t length);
static bool is_port(const char *text, size_t length);
static bool is_ipv6(const char *text, size_t length);

bool address_is_mail(const char *text)
{
    const char *at = strrchr(text, '@');
    if (!at || strlen(text) > LONGEST_MAIL)
        return false;
    return is_local_part(text, (size_t)(at - text)) && is_host_name(at + 1, strlen(at + 1));
}

bool address_is_host(const char *text)
{
    size_t length = strlen(text);
    if (length > 2 && text[0] == '[' && text[length - 1] == ']')
        return is_ipv6(text + 1, length - 2);
    return is_host_name(text, length) || is_ipv6(text, length);
}

bool address_is_loopback(const char *host)
{
    struct in_addr v4;
    if (inet_pton(AF_INET, host, &v4) == 1)
        return ntohl(v4.s_addr) >> 24 == 127;
    return text_equal_ignoring_case(host, "localhost") || strcmp(host, "::1") == 0 || strcmp(host, "[::1]") == 0;
}

bool address_check_url(const char *text, bool *ret_is_encrypted, struct error *error)
{
    bool is_encrypted = text_starts_with(text, "https://");
    if (!is_encrypted && !text_starts_with(text, "http://"))
        return fail(error, ERROR_CONFIG, "is a web address that begins with 'https://', found '%s'", text);
    if (strlen(text) > LONGEST_URL)
        return fail(error, ERROR_CONFIG, "is longer than %d bytes", LONGEST_URL);
    for (const char *c = text; *c; c++)
        if (*c <= ' ' || *c > '~' || strchr("\"<>\\^`{|}#", *c))
            return fail(error, ERROR_CONFIG, "is a web address, byte %zu of '%s' must be written as %%%02X",
                        (size_t)(c - text) + 1, text, (unsigned)(unsigned char)*c);
    const char *authority = text + (is_encrypted ? 8 : 7);
    size_t length = strcspn(authority, "/?");
    if (memchr(authority, '@', length))
        return fail(error, ERROR_CONFIG, "must not hold a user or password: expected 'https://host/...'");
    if (!is_authority(authority, length))
        return fail(error, ERROR_CONFIG, "names no proper host: expected 'https://host/...', found '%s'", text);
    *ret_is_encrypted = is_encrypted;
    return true;
}

static bool is_local_part(const char *text, size_t length)
{
    if (length == 0 || length > LONGEST_LOCAL || text[0] == '.' || text[length - 1] == '.')
        return false;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '.' && text[i - 1] == '.')
            return false;
        if (c >= 0x80 || (!isalnum(c) && !strchr(".!#$%&'*+/=?^_`{|}~-", c)))
            return false;
    }
    return true;
}

static bool is_host_name(const char *text, size_t length)
{
    if (length == 0 || length > LONGEST_HOST)
        return false;
    size_t label = 0;
    for (size_t i = 0; i <= length; i++) {
        if (i == length || text[i] == '.') {
            if (label == 0 || label > LONGEST_LABEL || text[i - 1] == '-')
                return false;
            label = 0;
            continue;
        }
        unsigned char c = (unsigned char)text[i];
        if (c >= 0x80 || (!isalnum(c) && (c != '-' || label == 0)))
            return false;
        label++;
    }
    return true;
}

static bool is_authority(const char *text, size_t length)
{
    const char *bracket = length > 0 && text[0] == '[' ? memchr(text, ']', length) : NULL;
    const char *host_end = bracket ? bracket + 1 : memchr(text, ':', length);
    size_t host = host_end ? (size_t)(host_end - text) : length;
    if (bracket ? !is_ipv6(text + 1, host - 2) : !is_host_name(text, host))
        return false;
    return host == length || (text[host] == ':' && is_port(text + host + 1, length - host - 1));
}

static bool is_port(const char *text, size_t length)
{
    int64_t port;
    return length > 0 && isdigit((unsigned char)*text) && text_parse_integer(text, length, &port) && port >= 1 &&
           port <= 65535;
}

static bool is_ipv6(const char *text, size_t length)
{
    char copy[INET6_ADDRSTRLEN];
    struct in6_addr address;
    if (length >= sizeof copy)
        return false;
    memcpy(copy, text, length);
    copy[length] = '\0';
    return inet_pton(AF_INET6, copy, &address) == 1;
}
