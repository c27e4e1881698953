/* SPDX-License-Identifier: MIT */
#include "notify/secret.h"

#include "base/memory.h"
#include "support/child.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[256];

static void set_up(void)
{
    child_make_folder(folder, sizeof folder);
}

static void tear_down(void)
{
    child_remove_folder(folder);
}

TestSuite(secret, .init = set_up, .fini = tear_down);

static void write_file(const char *name, const void *bytes, size_t length, mode_t mode)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    cr_assert_geq(fd, 0);
    cr_assert_eq(write(fd, bytes, length), (ssize_t)length);
    cr_assert_eq(fchmod(fd, mode), 0);
    close(fd);
}

static struct secret file_named(const char *name)
{
    static char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return (struct secret){.kind = SECRET_FILE, .name = path};
}

static void expect_refused(const struct secret *secret, const char *about)
{
    struct secret_text text = {"left over"};
    struct error error = {0};
    cr_expect_not(secret_read(secret, &text, &error), "%s", about);
    cr_expect_eq(error.kind, ERROR_CONFIG);
    cr_expect(strstr(error.text, about), "'%s' in '%s'", about, error.text);
    cr_expect_null(strstr(error.text, "hunter"));
    for (size_t i = 0; i < sizeof text.bytes; i++)
        cr_assert_eq(text.bytes[i], 0, "byte %zu was left", i);
}

Test(secret, is_one_line_of_a_file)
{
    static const char *const written[] = {"hunter 2", "hunter 2\n", "hunter 2\r\n"};
    for (size_t i = 0; i < COUNT_OF(written); i++) {
        write_file("s", written[i], strlen(written[i]), 0600);
        struct secret secret = file_named("s");
        struct secret_text text;
        struct error error = {0};
        cr_assert(secret_read(&secret, &text, &error), "%s", error.text);
        cr_expect_str_eq(text.bytes, "hunter 2");
        secret_wipe(&text);
        for (size_t c = 0; c < sizeof text.bytes; c++)
            cr_assert_eq(text.bytes[c], 0);
    }
}

Test(secret, is_refused_where_others_can_read_it)
{
    static const mode_t modes[] = {0604, 0640, 0620, 0644, 0666, 0601};
    for (size_t i = 0; i < COUNT_OF(modes); i++) {
        write_file("s", "hunter", 6, modes[i]);
        struct secret secret = file_named("s");
        expect_refused(&secret, "chmod 600");
    }
}

Test(secret, is_refused_where_it_belongs_to_somebody_else)
{
    if (geteuid() != 0)
        cr_skip_test("only root can give files away");
    write_file("s", "hunter", 6, 0600);
    struct secret secret = file_named("s");
    cr_assert_eq(chown(secret.name, 12345, 12345), 0);
    expect_refused(&secret, "belongs to user 12345");
}

Test(secret, is_refused_where_it_is_no_line_of_text)
{
    static char wide[SECRET_SIZE + 1];
    memset(wide, 'x', sizeof wide);
    static const struct {
        const char *bytes;
        size_t length;
        const char *about;
    } rows[] = {
        {"", 0, "is empty"},
        {"\n", 1, "is empty"},
        {"hunter\n2\n", 9, "more than one line"},
        {"hunter\0"
         "2",
         8, "more than one line"},
        {wide, SECRET_SIZE, "too long"},
        {wide, SECRET_SIZE + 1, "too long"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        write_file("s", rows[i].bytes, rows[i].length, 0600);
        struct secret secret = file_named("s");
        expect_refused(&secret, rows[i].about);
    }
}

Test(secret, is_refused_where_it_is_no_file)
{
    struct secret secret = file_named("absent");
    expect_refused(&secret, "cannot open");
    secret = file_named(".");
    expect_refused(&secret, "not a regular file");
    char path[512];
    snprintf(path, sizeof path, "%s/pipe", folder);
    cr_assert_eq(mkfifo(path, 0600), 0);
    secret = file_named("pipe");
    expect_refused(&secret, "not a regular file"); /* and did not wait for a writer */
}

Test(secret, may_be_a_credential_of_the_service_manager)
{
    struct secret secret = {.kind = SECRET_CREDENTIAL, .name = "hook"};
    unsetenv("CREDENTIALS_DIRECTORY");
    expect_refused(&secret, "LoadCredential=hook:PATH");
    setenv("CREDENTIALS_DIRECTORY", folder, 1);
    expect_refused(&secret, "cannot open");
    write_file("hook", "hunter\n", 7,
               0440); /* as the manager leaves them: its access list shows as a group's right */
    struct secret_text text;
    cr_assert(secret_read(&secret, &text, NULL));
    cr_expect_str_eq(text.bytes, "hunter");
}

Test(secret, names_no_path_outside_of_the_credentials)
{
    setenv("CREDENTIALS_DIRECTORY", folder, 1);
    static const char *const names[] = {"", ".", "..", "../s", "/etc/passwd", "a/b"};
    for (size_t i = 0; i < COUNT_OF(names); i++) {
        struct secret secret = {.kind = SECRET_CREDENTIAL, .name = names[i]};
        expect_refused(&secret, "no name of a credential");
    }
}
