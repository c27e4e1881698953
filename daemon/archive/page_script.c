/* SPDX-License-Identifier: MIT */
/* chart.js: a station's chart comes closer. Pages are complete without it, and what it does is a matter of layout
 * alone: the picture is shown wider in a view that scrolls, as its lines stretch and its words keep their size; parts
 * of a second copy keep headings, key and the values' axis in sight, and the times' axis is labelled anew. */
#include "archive/page.h"

#include "archive/chart.h"
#include "archive/scene.h"

static void add_geometry(struct text *text);

static const char head[] =
    "\"use strict\";\n"
    "/* SPDX-License-Identifier: MIT */\n"
    "for (const figure of document.querySelectorAll(\"figure.chart[data-days]\")) {\n"
    "  /* The plot within the picture, as shares of its width; room above and below it in px. */\n";

static const char rest[] =
    "  const days = Number(figure.dataset.days), month = figure.dataset.month;\n"
    "  const heads = figure.dataset.heads.split(\" \").map(height => Number(height) - foot);\n"
    "  const view = figure.querySelector(\".view\"), picture = view.querySelector(\"img\");\n"
    "  let zoom = 1, pinch = null;\n"
    "  const make = (tag, name, into) => {\n"
    "    const element = document.createElement(tag);\n"
    "    element.className = name;\n"
    "    into.append(element);\n"
    "    return element;\n"
    "  };\n"
    "  const bar = make(\"div\", \"zoom\", figure), axis = make(\"div\", \"axis\", figure);\n"
    "  const times = make(\"div\", \"times\", view), copy = make(\"img\", \"\", axis);\n"
    "  figure.prepend(bar);\n"
    "  copy.src = picture.src;\n"
    "  copy.alt = \"\";\n"
    "  axis.ariaHidden = times.ariaHidden = \"true\";\n"
    "  const strip = () => left * Math.max(view.clientWidth, labelled);\n"
    "  const plot = () => zoom === 1 ? share * view.clientWidth : share * zoom * view.clientWidth;\n"
    "  const start = () => zoom === 1 ? left * view.clientWidth : strip();\n"
    "  const cover = () => {\n"
    "    const part = (y, width, height) => `M0 ${y}h${width}v${height}h${-width}Z`, bottom = picture.height;\n"
    "    return part(0, view.clientWidth, head) + part(bottom - key, view.clientWidth, key) + part(0, strip(), "
    "bottom)\n"
    "      + heads.map(y => part(y + 2, view.clientWidth, heading - 2)).join(\"\");\n"
    "  };\n"
    "  const clock = hours => `${1 + Math.floor(hours / 24)} ${month} `\n"
    "    + `${String(Math.floor(hours) % 24).padStart(2, \"0\")}:00`;\n"
    "  const tell = () => {\n"
    "    const hour = px => Math.min(Math.max((view.scrollLeft + px - start()) / plot(), 0), 1) * days * 24;\n"
    "    said.textContent = zoom === 1 ? \"All days are shown\"\n"
    "      : `${clock(hour(start()))} to ${clock(Math.min(hour(view.clientWidth), days * 24 - 1))}`;\n"
    "  };\n"
    "  const label = () => {\n"
    "    times.replaceChildren();\n"
    "    const step = [120, 48, 24, 12, 6, 3].filter(hours => plot() * hours / (days * 24) >= 64).pop() || 120;\n"
    "    for (let hour = 0; zoom > 1 && hour < days * 24; hour += step) {\n"
    "      const tick = make(\"span\", hour % 24 ? \"\" : \"day\", times);\n"
    "      tick.textContent = hour % 24 ? `${String(hour % 24).padStart(2, \"0\")}:00` : `${1 + hour / 24} ${month}`;\n"
    "      tick.style.left = `${plot() * hour / (days * 24)}px`;\n"
    "    }\n"
    "  };\n"
    "  const show = (wanted, at) => {\n"
    "    const where = (view.scrollLeft + at - start()) / plot();\n"
    "    zoom = Math.min(Math.max(wanted, 1), most);\n"
    "    const wide = zoom > 1, width = zoom * view.clientWidth;\n"
    "    figure.classList.toggle(\"close\", wide);\n"
    "    picture.style.width = wide ? `${width}px` : \"\";\n"
    "    picture.style.marginLeft = wide ? `${strip() - left * width}px` : \"\";\n"
    "    copy.style.width = `${Math.max(view.clientWidth, labelled)}px`;\n"
    "    axis.style.top = `${view.offsetTop}px`;\n"
    "    axis.style.clipPath = `path(\"${cover()}\")`;\n"
    "    times.style.left = `${strip()}px`;\n"
    "    times.style.width = `${plot()}px`;\n"
    "    times.style.top = `${head}px`;\n"
    "    times.style.height = `${picture.height - head - foot + row}px`;\n"
    "    label();\n"
    "    view.scrollLeft = where * plot() + start() - at;\n"
    "    closer.disabled = zoom === most;\n"
    "    wider.disabled = whole.disabled = earlier.disabled = later.disabled = !wide;\n"
    "    if (wide) view.tabIndex = 0; else view.removeAttribute(\"tabindex\");\n"
    "    tell();\n"
    "  };\n"
    "  const middle = () => (start() + view.clientWidth) / 2;\n"
    "  const move = pages => {\n"
    "    view.scrollLeft += pages * 0.75 * (view.clientWidth - start());\n"
    "    tell();\n"
    "  };\n"
    "  const button = (words, act) => {\n"
    "    const element = make(\"button\", \"button\", bar);\n"
    "    element.type = \"button\";\n"
    "    element.textContent = words;\n"
    "    element.addEventListener(\"click\", act);\n"
    "    return element;\n"
    "  };\n"
    "  const closer = button(\"Closer\", () => show(zoom * 2, middle()));\n"
    "  const wider = button(\"Wider\", () => show(zoom / 2, middle()));\n"
    "  const earlier = button(\"Earlier\", () => move(-1)), later = button(\"Later\", () => move(1));\n"
    "  const whole = button(\"Whole month\", () => show(1, middle()));\n"
    "  const said = make(\"output\", \"soft\", bar);\n"
    "  view.setAttribute(\"role\", \"region\");\n"
    "  view.setAttribute(\"aria-label\", \"Chart: plus and minus change how close, 0 shows the whole month\");\n"
    "  view.addEventListener(\"scroll\", tell);\n"
    "  view.addEventListener(\"keydown\", event => {\n"
    "    const wanted = { \"+\": zoom * 2, \"=\": zoom * 2, \"-\": zoom / 2, \"0\": 1 }[event.key];\n"
    "    if (wanted && !event.ctrlKey && !event.metaKey && !event.altKey) show(wanted, middle());\n"
    "  });\n"
    "  const spread = touches => Math.hypot(touches[0].clientX - touches[1].clientX,\n"
    "    touches[0].clientY - touches[1].clientY);\n"
    "  view.addEventListener(\"touchstart\", event => {\n"
    "    pinch = event.touches.length === 2 ? { zoom, spread: spread(event.touches) } : null;\n"
    "  }, { passive: true });\n"
    "  view.addEventListener(\"touchmove\", event => {\n"
    "    if (!pinch || event.touches.length !== 2) return;\n"
    "    event.preventDefault();\n"
    "    const centre = (event.touches[0].clientX + event.touches[1].clientX) / 2;\n"
    "    show(pinch.zoom * spread(event.touches) / pinch.spread, centre - view.getBoundingClientRect().left);\n"
    "  }, { passive: false });\n"
    "  new ResizeObserver(() => show(zoom, middle())).observe(figure);\n"
    "  show(1, 0);\n"
    "}\n";

void page_script_render(struct text *ret)
{
    text_puts(ret, head);
    add_geometry(ret);
    text_puts(ret, rest);
}

/* As chart.h and scene.h have it. */
static void add_geometry(struct text *text)
{
    const int key = CHART_ZONE + SCENE_KEY_HEIGHT;
    text_printf(text, "  const left = %g, share = %g, labelled = %d;\n", SCENE_LEFT / 100.0, SCENE_WIDTH / 100.0,
                SCENE_LABELLED + 20);
    text_printf(text, "  const head = %d, foot = %d, key = %d, heading = %d, row = %d, most = 8;\n", CHART_HEAD,
                CHART_TIMES + key, key, CHART_HEADING, CHART_TIMES);
}
