/* SPDX-License-Identifier: MIT */
#include "service/sandbox.h"

#include "base/file.h"
#include "base/memory.h"
#include "config/path.h"

#include <errno.h>
#include <fcntl.h>
#include <glob.h>
#include <linux/landlock.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* Newer than the kernel headers of the build machine; the numbers are the kernel's interface. */
enum { ABI_KNOWN = 6 };
#define ACCESS_REFER ((uint64_t)1 << 13)     /* ABI 2 */
#define ACCESS_TRUNCATE ((uint64_t)1 << 14)  /* ABI 3 */
#define ACCESS_IOCTL_DEV ((uint64_t)1 << 15) /* ABI 5 */
#define NET_BIND_TCP ((uint64_t)1 << 0)      /* ABI 4 */
#define SCOPE_SIGNAL ((uint64_t)1 << 1)      /* ABI 6 */

/* struct landlock_ruleset_attr as of ABI 6; the kernel takes a shorter one, and a longer one whose rest is zero. */
struct ruleset {
    uint64_t files, net, scoped;
};

#define READ_NAMED ((uint64_t)LANDLOCK_ACCESS_FS_READ_FILE)
#define READ (READ_NAMED | LANDLOCK_ACCESS_FS_READ_DIR)
#define WRITE                                                                                                          \
    (READ | LANDLOCK_ACCESS_FS_WRITE_FILE | LANDLOCK_ACCESS_FS_REMOVE_DIR | LANDLOCK_ACCESS_FS_REMOVE_FILE |           \
     LANDLOCK_ACCESS_FS_MAKE_DIR | LANDLOCK_ACCESS_FS_MAKE_REG | LANDLOCK_ACCESS_FS_MAKE_FIFO | ACCESS_REFER |         \
     ACCESS_TRUNCATE)
#define ALL_OF_ABI_1 ((uint64_t)(LANDLOCK_ACCESS_FS_MAKE_SYM << 1) - 1)
#define FOR_FILES ((uint64_t)(LANDLOCK_ACCESS_FS_READ_FILE | LANDLOCK_ACCESS_FS_WRITE_FILE) | ACCESS_TRUNCATE)

struct entry {
    const char *path; /* without links; what does not exist keeps its last parts */
    uint64_t access;
    bool is_of_settings;
    bool is_folder;
    dev_t device;
    ino_t inode; /* 0: it was not there */
};

struct sandbox {
    struct arena *arena;
    struct entry *entries;
    size_t count, capacity;
    int abi;           /* entered with; 0: not */
    bool is_forbidden; /* a filter of system calls is in the way */
};

static void plan_settings(struct sandbox *sandbox, const struct config *config, const char *config_path);
static void plan_include(struct sandbox *sandbox, const char *pattern);
static void plan_inbox(struct sandbox *sandbox, const char *inbox);
static void plan_secret(struct sandbox *sandbox, const struct secret *secret);
static void plan_file(struct sandbox *sandbox, const char *path);
static void plan_system(struct sandbox *sandbox);
static void add(struct sandbox *sandbox, const char *path, uint64_t access, bool is_of_settings);
static const char *folder_of(struct arena *arena, const char *path);
static const char *resolve(struct arena *arena, const char *path);
static bool is_broad(const char *folder);
static struct ruleset rules_of(int abi);
static bool add_rule(const struct entry *entry, int ruleset, uint64_t handled, struct error *error);
static bool is_covered(const struct sandbox *running, const struct entry *wanted);
static bool is_stale(const struct sandbox *sandbox, const struct entry *entry);
static bool is_unchanged(const struct entry *entry);

/* ---- the plan ---- */

struct sandbox *sandbox_plan(const struct config *config, const char *config_path)
{
    struct sandbox *sandbox = x_alloc(sizeof *sandbox);
    sandbox->arena = arena_new();
    plan_settings(sandbox, config, config_path);
    plan_inbox(sandbox, config->inbox);
    for (size_t i = 0; i < config->recipient_count; i++) {
        plan_secret(sandbox, &config->recipients[i].secret);
        plan_secret(sandbox, &config->recipients[i].old_secret);
        plan_file(sandbox, config->recipients[i].ca_file);
    }
    plan_secret(sandbox, &config->mail.password);
    plan_file(sandbox, config->mail.ca_file);
    add(sandbox, config->archive, WRITE, true);
    add(sandbox, config->state, WRITE, true);
    if (config->metrics_file)
        add(sandbox, folder_of(sandbox->arena, config->metrics_file), WRITE, true);
    plan_system(sandbox);
    return sandbox;
}

void sandbox_free(struct sandbox *sandbox)
{
    if (!sandbox)
        return;
    free(sandbox->entries);
    arena_free(sandbox->arena);
    free(sandbox);
}

/* Whole folders, because editors and deployment replace files instead of writing into them. */
static void plan_settings(struct sandbox *sandbox, const struct config *config, const char *config_path)
{
    add(sandbox, folder_of(sandbox->arena, config_path), READ, true);
    add(sandbox, folder_of(sandbox->arena, resolve(sandbox->arena, config_path)), READ, true);
    for (size_t i = 0; i < config->includes.count; i++)
        plan_include(sandbox, config->includes.words[i]);
}

static void plan_include(struct sandbox *sandbox, const char *pattern)
{
    char *folder = arena_strndup(sandbox->arena, pattern, strcspn(pattern, "*?["));
    add(sandbox, folder_of(sandbox->arena, folder), READ, true);
    glob_t matches = {0};
    if (glob(pattern, GLOB_NOSORT, NULL, &matches) == 0)
        for (size_t i = 0; i < matches.gl_pathc; i++)
            plan_file(sandbox, matches.gl_pathv[i]); /* it may be a link to elsewhere */
    globfree(&matches);
}

/* With the folder above it, or the nearest that is there: the inbox may be made or mounted later. */
static void plan_inbox(struct sandbox *sandbox, const char *inbox)
{
    const char *real = resolve(sandbox->arena, inbox), *above = real;
    add(sandbox, real, READ, true);
    do
        above = folder_of(sandbox->arena, above);
    while (!file_exists(above));
    if (strcmp(above, "/") != 0)
        add(sandbox, above, READ, true);
}

static void plan_secret(struct sandbox *sandbox, const struct secret *secret)
{
    if (secret->kind == SECRET_FILE)
        plan_file(sandbox, secret->name);
}

/* The file, where its links lead; and its folder, so that it may be replaced, unless that opens half the machine. */
static void plan_file(struct sandbox *sandbox, const char *path)
{
    if (!path)
        return;
    const char *real = resolve(sandbox->arena, path), *folder = folder_of(sandbox->arena, real);
    add(sandbox, is_broad(folder) ? real : folder, READ, true);
    folder = folder_of(sandbox->arena, path);
    if (!is_broad(folder))
        add(sandbox, folder, READ, true);
}

static void plan_system(struct sandbox *sandbox)
{
    static const struct {
        const char *path;
        uint64_t access;
    } needed[] = {
        {"/etc", READ_NAMED},                 /* resolv.conf, hosts, nsswitch.conf, services, ssl */
        {"/run/systemd/resolve", READ_NAMED}, /* where resolv.conf may lead */
        {"/run/resolvconf", READ_NAMED},
        {"/run/NetworkManager", READ_NAMED},
        {"/usr/lib", READ}, /* modules of name resolution, loaded when needed */
        {"/usr/lib64", READ},
        {"/usr/share/zoneinfo", READ},
        {"/usr/share/ca-certificates", READ},
        {"/usr/local/share/ca-certificates", READ},
        {"/proc/self", READ},
        {"/dev/null", READ | LANDLOCK_ACCESS_FS_WRITE_FILE},
        {"/dev/urandom", READ},
    };
    static const char *const variables[] = {"TZDIR", "CREDENTIALS_DIRECTORY", "SSL_CERT_DIR", "SSL_CERT_FILE",
                                            "OPENSSL_CONF"};
    for (size_t i = 0; i < COUNT_OF(needed); i++)
        add(sandbox, needed[i].path, needed[i].access, false);
    for (size_t i = 0; i < COUNT_OF(variables); i++) {
        const char *path = getenv(variables[i]);
        if (path && *path == '/')
            add(sandbox, path, READ, false);
    }
}

static void add(struct sandbox *sandbox, const char *path, uint64_t access, bool is_of_settings)
{
    struct entry entry = {.path = resolve(sandbox->arena, path), .access = access, .is_of_settings = is_of_settings};
    struct stat status;
    for (size_t i = 0; i < sandbox->count; i++)
        if (sandbox->entries[i].access == access && strcmp(sandbox->entries[i].path, entry.path) == 0)
            return;
    if (stat(entry.path, &status) == 0) {
        entry.is_folder = S_ISDIR(status.st_mode);
        entry.device = status.st_dev;
        entry.inode = status.st_ino;
    }
    sandbox->entries = x_grow(sandbox->entries, sandbox->count, &sandbox->capacity, sizeof *sandbox->entries);
    sandbox->entries[sandbox->count++] = entry;
}

/* "/" above everything; "." above a bare name. */
static const char *folder_of(struct arena *arena, const char *path)
{
    const char *end = strrchr(path, '/');
    if (!end)
        return ".";
    return end == path ? "/" : arena_strndup(arena, path, (size_t)(end - path));
}

/* As realpath(3), but what is not there keeps its name below what is. */
static const char *resolve(struct arena *arena, const char *path)
{
    CLEANUP(cleanup_free) char *real = realpath(path, NULL);
    if (real)
        return arena_strdup(arena, real);
    const char *name = strrchr(path, '/');
    if (!name)
        return arena_printf(arena, "%s/%s", resolve(arena, "."), path);
    if (name == path)
        return path;
    const char *folder = resolve(arena, folder_of(arena, path));
    return arena_printf(arena, "%s/%s", strcmp(folder, "/") == 0 ? "" : folder, name + 1);
}

/* "/" and its children. */
static bool is_broad(const char *folder)
{
    return *folder != '/' || strchr(folder + 1, '/') == NULL;
}

/* ---- entering ---- */

bool sandbox_enter(struct sandbox *sandbox, int abi_most, struct error *error)
{
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot give up new privileges");
    long offered = syscall(SYS_landlock_create_ruleset, NULL, 0, LANDLOCK_CREATE_RULESET_VERSION);
    sandbox->is_forbidden = offered < 0 && errno == EPERM;
    int abi = offered < 0 ? 0 : offered < ABI_KNOWN ? (int)offered : ABI_KNOWN;
    abi = abi < abi_most ? abi : abi_most;
    if (abi <= 0)
        return true;
    struct ruleset rules = rules_of(abi);
    size_t size = abi >= 6 ? sizeof rules : abi >= 4 ? offsetof(struct ruleset, scoped) : offsetof(struct ruleset, net);
    CLEANUP(cleanup_fd) int ruleset = (int)syscall(SYS_landlock_create_ruleset, &rules, size, 0);
    if (ruleset < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot make a sandbox");
    for (size_t i = 0; i < sandbox->count; i++)
        if (!add_rule(&sandbox->entries[i], ruleset, rules.files, error))
            return false;
    if (syscall(SYS_landlock_restrict_self, ruleset, 0) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot enter the sandbox");
    sandbox->abi = abi;
    return true;
}

static struct ruleset rules_of(int abi)
{
    struct ruleset rules = {.files = ALL_OF_ABI_1};
    rules.files |= abi >= 2 ? ACCESS_REFER : 0;
    rules.files |= abi >= 3 ? ACCESS_TRUNCATE : 0;
    rules.files |= abi >= 5 ? ACCESS_IOCTL_DEV : 0;
    rules.net = abi >= 4 ? NET_BIND_TCP : 0;
    rules.scoped = abi >= 6 ? SCOPE_SIGNAL : 0;
    return rules;
}

/* What is not there, or closed to us anyway, needs no rule. */
static bool add_rule(const struct entry *entry, int ruleset, uint64_t handled, struct error *error)
{
    CLEANUP(cleanup_fd) int fd = open(entry->path, O_PATH | O_CLOEXEC);
    if (fd < 0)
        return true;
    uint64_t access = entry->access & handled & (entry->is_folder ? UINT64_MAX : FOR_FILES);
    struct landlock_path_beneath_attr rule = {.allowed_access = access, .parent_fd = fd};
    if (syscall(SYS_landlock_add_rule, ruleset, LANDLOCK_RULE_PATH_BENEATH, &rule, 0) == 0)
        return true;
    return fail_errno(error, ERROR_SYSTEM, "cannot let '%s' into the sandbox", entry->path);
}

bool sandbox_is_entered(const struct sandbox *sandbox)
{
    return sandbox && sandbox->abi > 0;
}

void sandbox_describe(const struct sandbox *sandbox, struct text *ret)
{
    if (sandbox->abi == 0) {
        text_puts(ret, sandbox->is_forbidden ? "a filter of system calls forbids Landlock"
                                             : "the kernel offers no Landlock");
        text_puts(ret, ": the unit's protections are all there is");
        return;
    }
    text_printf(ret, "in a sandbox (Landlock %d): writes only in", sandbox->abi);
    bool is_first = true;
    for (size_t i = 0; i < sandbox->count; i++) {
        if (!sandbox->entries[i].is_of_settings || sandbox->entries[i].access != WRITE)
            continue;
        text_printf(ret, "%s '%s'", is_first ? "" : ",", sandbox->entries[i].path);
        is_first = false;
    }
    text_puts(ret, "; reads only the inbox, settings, secrets and system files");
}

/* ---- afterwards ---- */

bool sandbox_covers(const struct sandbox *running, const struct sandbox *fresh, struct error *error)
{
    if (!sandbox_is_entered(running))
        return true;
    for (size_t i = 0; i < fresh->count; i++)
        if (fresh->entries[i].is_of_settings && !is_covered(running, &fresh->entries[i]))
            return fail(error, ERROR_CONFIG,
                        "'%s' lies outside of the folders that the running service may %s: restart to change folders",
                        fresh->entries[i].path, fresh->entries[i].access == WRITE ? "write in" : "read");
    return true;
}

static bool is_covered(const struct sandbox *running, const struct entry *wanted)
{
    for (size_t i = 0; i < running->count; i++) {
        const struct entry *has = &running->entries[i];
        uint64_t missing = wanted->access & ~has->access;
        if (has->inode != 0 && missing == 0 && path_is_inside(wanted->path, has->path))
            return true;
    }
    return false;
}

const char *sandbox_find_stale(const struct sandbox *sandbox)
{
    if (!sandbox_is_entered(sandbox))
        return NULL;
    for (size_t i = 0; i < sandbox->count; i++)
        if (sandbox->entries[i].is_of_settings && is_stale(sandbox, &sandbox->entries[i]))
            return sandbox->entries[i].path;
    return NULL;
}

/* There, but not what the rule was made for, and below nothing else that is. */
static bool is_stale(const struct sandbox *sandbox, const struct entry *entry)
{
    struct stat status;
    if (stat(entry->path, &status) < 0 || !S_ISDIR(status.st_mode) || is_unchanged(entry))
        return false;
    for (size_t i = 0; i < sandbox->count; i++) {
        const struct entry *other = &sandbox->entries[i];
        if ((entry->access & ~other->access) == 0 && path_is_inside(entry->path, other->path) && is_unchanged(other))
            return false;
    }
    return true;
}

static bool is_unchanged(const struct entry *entry)
{
    struct stat status;
    return entry->inode != 0 && stat(entry->path, &status) == 0 && status.st_dev == entry->device &&
           status.st_ino == entry->inode;
}
