/* SPDX-License-Identifier: MIT */
#include "watch/identity.h"

#include "inbox.h"

static struct inbox inbox;

static void setup(void)
{
    inbox_make(&inbox);
}

static void teardown(void)
{
    inbox_done(&inbox);
}

TestSuite(identity, .init = setup, .fini = teardown);

static struct identity identify(const char *path)
{
    int fd = open(path, O_PATH | O_DIRECTORY | O_CLOEXEC);
    struct identity identity = identity_of(fd);
    close(fd);
    return identity;
}

Test(identity, a_folder_keeps_it_under_another_name)
{
    inbox_mkdir(&inbox, "a");
    struct identity before = identify(inbox_at(&inbox, "a"));
    inbox_rename(&inbox, "a", "b");
    struct identity after = identify(inbox_at(&inbox, "b"));
    cr_expect(identity_is_same(&before, &after));
}

Test(identity, a_folder_made_anew_is_another_though_it_may_get_the_old_number)
{
    const struct identity before = identify(inbox.root);
    struct identity after = before;
    after.birth_ns++;
    cr_expect_not(identity_is_same(&before, &after));
    after = before;
    after.birth_s++;
    cr_expect_not(identity_is_same(&before, &after));
}

Test(identity, another_folder_or_device_is_another)
{
    inbox_mkdir(&inbox, "a");
    struct identity outer = identify(inbox.root), inner = identify(inbox_at(&inbox, "a")),
                    proc = identify("/proc");
    cr_expect_not(identity_is_same(&outer, &inner));
    cr_expect_not(identity_is_same(&outer, &proc));
}

Test(identity, what_is_not_known_is_never_the_same)
{
    struct identity unknown = identity_of(-1);
    cr_expect_not(unknown.is_known);
    cr_expect_not(identity_is_same(&unknown, &unknown));
}
