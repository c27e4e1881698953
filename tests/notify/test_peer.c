/* SPDX-License-Identifier: MIT */
#include "notify/peer.h"

#include "base/memory.h"

#include <arpa/inet.h>
#include <criterion/criterion.h>
#include <netinet/in.h>
#include <string.h>

static struct sockaddr_storage parsed(const char *text)
{
    struct sockaddr_storage storage = {0};
    struct sockaddr_in *ipv4 = (void *)&storage;
    struct sockaddr_in6 *ipv6 = (void *)&storage;
    if (inet_pton(AF_INET, text, &ipv4->sin_addr) == 1)
        ipv4->sin_family = AF_INET;
    else if (inet_pton(AF_INET6, text, &ipv6->sin6_addr) == 1)
        ipv6->sin6_family = AF_INET6;
    else
        cr_assert_fail("'%s' is no address", text);
    return storage;
}

Test(peer, knows_what_is_not_public)
{
    static const char *const addresses[] = {
        "0.0.0.0",
        "0.255.255.255",
        "10.0.0.1",
        "100.64.0.1",
        "100.127.255.255",
        "127.0.0.1",
        "127.255.255.254",
        "169.254.169.254",
        "172.16.0.1",
        "172.31.255.255",
        "192.0.0.8",
        "192.168.1.1",
        "198.18.0.1",
        "198.19.255.255",
        "224.0.0.1",
        "239.255.255.255",
        "240.0.0.1",
        "255.255.255.255",
        "::",
        "::1",
        "fc00::1",
        "fdff::1",
        "fe80::1",
        "febf::1",
        "fec0::1",
        "ff02::1",
        "::ffff:127.0.0.1",
        "::ffff:10.1.2.3",
        "64:ff9b::7f00:1",
        "64:ff9b:1::1",
        "2002:7f00:1::1",
        "2002:c0a8:101::",
        "::127.0.0.1",
        "::10.0.0.1",
    };
    for (size_t i = 0; i < COUNT_OF(addresses); i++) {
        struct sockaddr_storage address = parsed(addresses[i]);
        cr_expect(peer_is_private((struct sockaddr *)&address), "%s", addresses[i]);
    }
}

Test(peer, knows_what_is_public)
{
    static const char *const addresses[] = {
        "1.0.0.1",         "9.255.255.255",   "11.0.0.1",    "100.63.255.255", "100.128.0.1",
        "126.255.255.255", "128.0.0.1",       "169.253.0.1", "172.15.0.1",     "172.32.0.1",
        "192.0.1.1",       "192.167.255.255", "192.169.0.1", "198.17.0.1",     "198.20.0.1",
        "223.255.255.255", "2001:db8::1",     "2600::1",     "::ffff:8.8.8.8", "64:ff9b::808:808",
        "2002:808:808::1",
    };
    for (size_t i = 0; i < COUNT_OF(addresses); i++) {
        struct sockaddr_storage address = parsed(addresses[i]);
        cr_expect_not(peer_is_private((struct sockaddr *)&address), "%s", addresses[i]);
    }
}

Test(peer, trusts_no_other_family)
{
    struct sockaddr_storage address = {.ss_family = AF_UNIX};
    char printed[PEER_SIZE];
    cr_expect(peer_is_private((struct sockaddr *)&address));
    cr_expect_not(peer_is_loopback((struct sockaddr *)&address));
    cr_expect_str_eq(peer_print((struct sockaddr *)&address, printed), "?");
}

Test(peer, knows_this_machine)
{
    static const struct {
        const char *text;
        bool is_loopback;
    } rows[] = {{"127.0.0.1", true},        {"127.9.9.9", true},        {"::1", true},
                {"::ffff:127.0.0.1", true}, {"::ffff:10.0.0.1", false}, {"10.0.0.1", false},
                {"fe80::1", false},         {"64:ff9b::7f00:1", false}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct sockaddr_storage address = parsed(rows[i].text);
        char printed[PEER_SIZE];
        cr_expect_eq(peer_is_loopback((struct sockaddr *)&address), rows[i].is_loopback, "%s", rows[i].text);
        cr_expect_str_eq(peer_print((struct sockaddr *)&address, printed), rows[i].text);
    }
}
