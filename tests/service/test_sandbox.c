/* SPDX-License-Identifier: MIT */
/* Each test runs in a process of its own, which is confined for good. */
#include "service/sandbox.h"

#include "base/file.h"
#include "base/memory.h"
#include "config/load.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/landlock.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

static char root[64];

static const char *at(const char *name)
{
    static char paths[8][256];
    static size_t next;
    char *path = paths[next++ % 8];
    snprintf(path, sizeof paths[0], "%s/%s", root, name);
    return path;
}

static void write_file(const char *name, const char *content)
{
    struct error error;
    cr_assert(file_write_whole(at(name), content, strlen(content), &error), "%s", error.text);
}

/* root/net/{inbox,etc}, root/{archive,state,metrics}: what is used; root/elsewhere: what is not. */
static void make_folders(void)
{
    static const char *const folders[] = {"net/inbox", "net/etc", "archive", "state", "metrics", "elsewhere", "keys"};
    struct error error;
    strcpy(root, "/tmp/sandbox-XXXXXX");
    cr_assert_not_null(mkdtemp(root));
    for (size_t i = 0; i < COUNT_OF(folders); i++)
        cr_assert(file_make_folders(at(folders[i]), &error), "%s", error.text);
    write_file("elsewhere/secret", "not yours\n");
    write_file("keys/hook", "whsec_AAAA\n");
}

static struct config *settings(const char *archive, const char *more)
{
    char text[2048];
    struct config_problems problems;
    config_problems_init(&problems);
    snprintf(text, sizeof text,
             "network: {id: n}\ninbox: %s/net/inbox\narchive: %s/%s\nstate: %s/state\n"
             "metrics: {file: %s/metrics/a.prom}\n%s",
             root, root, archive, root, root, more);
    struct config *config = config_load_bytes("memory.yaml", text, strlen(text), &problems);
    cr_assert_not_null(config, "%s", problems.count ? problems.list[0].text : "");
    config_problems_done(&problems);
    return config;
}

static struct sandbox *planned(const char *archive, const char *more)
{
    struct config *config = settings(archive, more);
    struct sandbox *sandbox = sandbox_plan(config, at("net/etc/rillward.yaml"));
    config_free(config);
    return sandbox;
}

static struct sandbox *entered(int abi_most)
{
    struct error error;
    make_folders();
    struct sandbox *sandbox = planned("archive", "");
    cr_assert(sandbox_enter(sandbox, abi_most, &error), "%s", error.text);
    return sandbox;
}

static bool kernel_has_landlock(void)
{
    return syscall(SYS_landlock_create_ruleset, NULL, 0, LANDLOCK_CREATE_RULESET_VERSION) > 0;
}

static int opened(const char *path, int flags)
{
    int fd = open(path, flags | O_CLOEXEC, 0600), number = fd < 0 ? errno : 0;
    if (fd >= 0)
        close(fd);
    return number;
}

static void expect_confined(void)
{
    cr_expect_eq(opened(at("elsewhere/secret"), O_RDONLY), EACCES);
    cr_expect_eq(opened(at("elsewhere/new"), O_WRONLY | O_CREAT), EACCES);
    cr_expect_eq(opened(at("net/inbox/new"), O_WRONLY | O_CREAT), EACCES, "the inbox is only ever read");
    cr_expect_eq(opened(at("net/etc/new"), O_WRONLY | O_CREAT), EACCES);
    cr_expect_eq(opened("/home", O_RDONLY | O_DIRECTORY), EACCES);
    cr_expect_eq(mkdir(at("net/inbox/folder"), 0755), -1);
    cr_expect_eq(opened(at("net/inbox"), O_RDONLY | O_DIRECTORY), 0);
    cr_expect_eq(opened(at("net/etc"), O_RDONLY | O_DIRECTORY), 0);
    cr_expect_eq(opened("/etc/passwd", O_RDONLY), 0, "name resolution reads below /etc");
    static const char *const writable[] = {"archive", "state", "metrics"};
    for (size_t i = 0; i < COUNT_OF(writable); i++) {
        char folder[128], from[160], to[160];
        snprintf(folder, sizeof folder, "%s/%s/deep", root, writable[i]);
        snprintf(from, sizeof from, "%s/a", folder);
        snprintf(to, sizeof to, "%s/b", folder);
        struct error error;
        cr_expect(file_make_folders(folder, &error), "%s", error.text);
        cr_expect(file_write_whole(from, "x", 1, &error), "%s", error.text);
        cr_expect_eq(truncate(from, 0), 0);
        cr_expect_eq(rename(from, to), 0);
        cr_expect_eq(unlink(to), 0);
        cr_expect_eq(rmdir(folder), 0);
    }
}

Test(sandbox, only_folders_of_the_settings_are_left)
{
    struct sandbox *sandbox = entered(INT_MAX);
    cr_expect_eq(prctl(PR_GET_NO_NEW_PRIVS, 0, 0, 0, 0), 1);
    cr_expect_eq(sandbox_is_entered(sandbox), kernel_has_landlock());
    if (sandbox_is_entered(sandbox))
        expect_confined();
    cr_expect_null(sandbox_find_stale(sandbox));
    sandbox_free(sandbox);
}

Test(sandbox, an_older_kernel_confines_as_far_as_it_knows)
{
    struct sandbox *sandbox = entered(1);
    if (sandbox_is_entered(sandbox))
        expect_confined();
    sandbox_free(sandbox);
}

Test(sandbox, a_kernel_without_landlock_is_no_mistake)
{
    struct text text;
    struct error error;
    struct sandbox *sandbox = entered(0);
    cr_expect_not(sandbox_is_entered(sandbox));
    cr_expect_eq(opened(at("elsewhere/secret"), O_RDONLY), 0);
    text_init(&text, 1000);
    sandbox_describe(sandbox, &text);
    cr_expect_not_null(strstr(text.bytes, "the unit's protections are all there is"));
    struct sandbox *other = planned("elsewhere", "");
    cr_expect(sandbox_covers(sandbox, other, &error), "what is not confined may change folders");
    cr_expect_null(sandbox_find_stale(sandbox));
    text_done(&text);
    sandbox_free(other);
    sandbox_free(sandbox);
}

Test(sandbox, nothing_is_executed_and_no_port_is_opened)
{
    struct sandbox *sandbox = entered(INT_MAX);
    if (sandbox_is_entered(sandbox)) {
        char *const words[] = {(char[]){"true"}, NULL};
        cr_expect_eq(execv("/usr/bin/true", words), -1);
        cr_expect_eq(errno, EACCES);
    }
    if (syscall(SYS_landlock_create_ruleset, NULL, 0, LANDLOCK_CREATE_RULESET_VERSION) >= 4) {
        struct sockaddr_in address = {
            .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK), .sin_port = htons(29123)};
        int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        cr_expect_eq(bind(fd, (struct sockaddr *)&address, sizeof address), -1);
        cr_expect_eq(errno, EACCES);
        close(fd);
    }
    sandbox_free(sandbox);
}

/* What a process outside does to the folders meanwhile. */
static pid_t outside(int wait_fd, int done_fd)
{
    pid_t child = fork();
    if (child != 0)
        return child;
    char byte;
    if (read(wait_fd, &byte, 1) == 1 && rename(at("net/inbox"), at("net/old")) == 0 &&
        mkdir(at("net/inbox"), 0755) == 0 && rename(at("state"), at("old-state")) == 0 && mkdir(at("state"), 0755) == 0)
        byte = 'y';
    _exit(write(done_fd, &byte, 1) == 1 ? 0 : 1);
}

Test(sandbox, an_inbox_made_anew_is_read_and_a_replaced_folder_to_write_in_is_named)
{
    struct error error;
    int there[2], back[2];
    char byte = 'x';
    make_folders();
    cr_assert(pipe(there) == 0 && pipe(back) == 0);
    pid_t child = outside(there[0], back[1]);
    struct sandbox *sandbox = planned("archive", "");
    cr_assert(sandbox_enter(sandbox, INT_MAX, &error), "%s", error.text);
    cr_expect_null(sandbox_find_stale(sandbox));
    cr_assert(write(there[1], &byte, 1) == 1 && read(back[0], &byte, 1) == 1 && byte == 'y');
    waitpid(child, NULL, 0);
    cr_expect_eq(opened(at("net/inbox"), O_RDONLY | O_DIRECTORY), 0);
    if (sandbox_is_entered(sandbox))
        cr_expect_str_eq(sandbox_find_stale(sandbox), at("state"));
    sandbox_free(sandbox);
}

Test(sandbox, a_plan_covers_what_lies_inside_and_names_what_does_not)
{
    struct error error;
    make_folders();
    struct sandbox *running = planned("archive", "");
    cr_assert(sandbox_enter(running, INT_MAX, &error), "%s", error.text);
    if (!sandbox_is_entered(running)) {
        sandbox_free(running);
        return;
    }
    struct {
        const char *archive, *more, *refused;
    } cases[] = {
        {"archive", "", NULL},
        {"archive/deeper/yet", "", NULL},
        {"elsewhere", "", "elsewhere"},
        {"net/other", "", "net/other"},
        {"archive", "recipients: {a: {webhook: \"https://example.org/\", secret: {file: ROOT/net/etc/key}}}\n", NULL},
        {"archive", "recipients: {a: {webhook: \"https://example.org/\", secret: {file: ROOT/keys/hook}}}\n", "keys"},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        char more[512] = "";
        const char *mark = strstr(cases[i].more, "ROOT");
        if (mark)
            snprintf(more, sizeof more, "%.*s%s%s", (int)(mark - cases[i].more), cases[i].more, root, mark + 4);
        struct sandbox *fresh = planned(cases[i].archive, more);
        bool is_covered = sandbox_covers(running, fresh, &error);
        cr_expect_eq(is_covered, cases[i].refused == NULL, "case %zu: %s", i, is_covered ? "covered" : error.text);
        if (!is_covered && cases[i].refused) {
            cr_expect_eq(error.kind, ERROR_CONFIG);
            cr_expect(strstr(error.text, at(cases[i].refused)) && strstr(error.text, "restart to change folders"), "%s",
                      error.text);
        }
        sandbox_free(fresh);
    }
    sandbox_free(running);
}

Test(sandbox, a_secret_is_reached_where_its_links_lead)
{
    struct error error;
    char more[512];
    make_folders();
    cr_assert_eq(symlink(at("keys/hook"), at("net/etc/link")), 0);
    snprintf(more, sizeof more,
             "recipients: {a: {webhook: \"https://example.org/\", secret: {file: %s/net/etc/link}}}\n", root);
    struct sandbox *sandbox = planned("archive", more);
    cr_assert(sandbox_enter(sandbox, INT_MAX, &error), "%s", error.text);
    cr_expect_eq(opened(at("net/etc/link"), O_RDONLY), 0);
    sandbox_free(sandbox);
}
