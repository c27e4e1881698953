/* SPDX-License-Identifier: MIT */
#include "archive/archive.h"
#include "archive/page_parts.h"
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/file.h>

void page_shared_render(const struct config *config, struct text *ret)
{
    text_puts(ret, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>");
    part_name(ret, config->network_name);
    text_printf(ret,
                "</title>\n<link rel=\"stylesheet\" href=\"%s/" PAGE_STYLE_PATH "\">\n</head>\n<body>\n<main>\n<h1>",
                config->parts[0].id);
    part_name(ret, config->network_name);
    text_puts(ret, "</h1>\n<ul>\n");
    for (size_t i = 0; i < config->part_count; i++) {
        const char *id = config->parts[i].id; /* letters, digits, '.', '_', '-' */
        text_printf(ret,
                    "<li><a href=\"%s/index.html\">%s</a> (<a href=\"%s/" PAGE_FEED_PATH "\">news</a>, "
                    "<a href=\"%s/network.json\">for machines</a>)</li>\n",
                    id, id, id, id);
    }
    text_puts(ret, "</ul>\n");
    part_cautions(ret);
    text_puts(ret, "</main>\n</body>\n</html>\n");
}

bool page_shared_write(const struct config *config, struct error *error)
{
    struct archive_file file;
    CLEANUP(cleanup_fd) int fd = open(config->shared_archive, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0 || flock(fd, LOCK_EX) != 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot lock '%s'", config->shared_archive);
    archive_file_init(&file, "index.html");
    page_shared_render(config, &file.content);
    bool ok = archive_write_files(config->shared_archive, &file, 1, error);
    archive_file_done(&file);
    return ok;
}
