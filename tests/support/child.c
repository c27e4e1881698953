/* SPDX-License-Identifier: MIT */
#include "child.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <ftw.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

enum { ARGUMENTS_MOST = 32 };

static pid_t start(const char *program, const char *script, const char *const *arguments, int output);
static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *where);

struct child child_start(const char *script, const char *const *arguments)
{
    int ends[2];
    cr_assert_eq(pipe2(ends, O_CLOEXEC), 0);
    struct child child = {.pid = start("/usr/bin/python3", script, arguments, ends[1])};
    close(ends[1]);
    FILE *output = fdopen(ends[0], "r");
    cr_assert_not_null(output);
    cr_assert_eq(fscanf(output, "%d", &child.port), 1, "%s printed no port", script);
    fclose(output);
    return child;
}

void child_stop(struct child *child)
{
    if (child->pid <= 0)
        return;
    kill(child->pid, SIGTERM);
    waitpid(child->pid, NULL, 0);
    child->pid = 0;
}

void child_run(const char *script, const char *argument)
{
    const char *const arguments[] = {argument, NULL};
    int status = -1;
    pid_t pid = start("/bin/sh", script, arguments, STDERR_FILENO);
    waitpid(pid, &status, 0);
    cr_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0, "%s failed", script);
}

void child_make_folder(char *ret, size_t size)
{
    const char *temporary = getenv("TMPDIR");
    snprintf(ret, size, "%s/rillward-test-XXXXXX", temporary ? temporary : "/tmp");
    cr_assert_not_null(mkdtemp(ret));
}

void child_remove_folder(const char *path)
{
    nftw(path, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static pid_t start(const char *program, const char *script, const char *const *arguments, int output)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/tests/support/%s", RILLWARD_SOURCE_ROOT, script);
    char *words[ARGUMENTS_MOST + 3] = {(char *)program, path};
    for (size_t i = 0; arguments[i]; i++) {
        cr_assert_lt(i, ARGUMENTS_MOST);
        words[i + 2] = (char *)arguments[i];
    }
    pid_t pid = fork();
    cr_assert_geq(pid, 0);
    if (pid > 0)
        return pid;
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    unsetenv("LD_PRELOAD"); /* a sanitizer of ours is none of the server's business */
    dup2(output, STDOUT_FILENO);
    execv(program, words);
    _exit(127);
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *where)
{
    (void)status, (void)kind, (void)where;
    return remove(path);
}
