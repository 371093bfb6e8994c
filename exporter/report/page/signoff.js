"use strict";
// Moves limits and chooses what is shown. Every figure comes from signoff.json, which stands in the
// page; nothing is measured or estimated here.
(() => {
  const signoff = JSON.parse(document.getElementById("signoff").textContent);
  // all returns the elements below root that a selector finds.
  const all = (root, selector) => Array.from(root.querySelectorAll(selector));
  all(document, ".controls").forEach((c) => { c.hidden = false; });

  // grouped writes a whole number in groups of three digits.
  const grouped = (v) => Math.round(v).toString().replace(/\B(?=(\d{3})+$)/g, "\u202f");
  // quantity writes a figure with its unit; a figure without a unit is a share.
  const quantity = (v, unit) => {
    switch (unit) {
      case "": return Math.round(100 * v) + " %";
      case "J": return (v * 1e6).toPrecision(3) + " uJ";
      case "B": return v < 1024 ? Math.round(v) + " B" : Math.round(v / 102.4) / 10 + " KiB";
      default: return grouped(v);
    }
  };
  // isFree says that a limit holds nothing back: the job does not set it, and it was not moved.
  const isFree = (l) => l.dataset.free === "true" && Number(l.value) >= Number(l.max);

  // choose shows one of several sections, hides the others, and says then which one.
  const choose = (select, sections, then) => {
    if (!select) { return; }
    const show = () => {
      sections.forEach((s, i) => { s.hidden = i !== select.selectedIndex; });
      then(select.selectedIndex);
    };
    select.addEventListener("change", show);
    show();
  };
  choose(document.getElementById("outputs"), all(document, ".space"), () => {});

  const candidates = (signoff.frontier && signoff.frontier.candidates) || [];
  const byID = new Map(candidates.map((c) => [String(c.id), c]));

  // valueOf returns what a limit is compared with; null where it is not known.
  const valueOf = (candidate, target, resource) => {
    if (resource === "tolerance") { return candidate.tolerance_used; }
    const cost = candidate.cost.find((c) => c.target === target);
    return cost ? cost[resource] : null;
  };

  // placeOn returns the place of a value on an axis of a picture, kept within its ends.
  const placeOn = (v, low, high, from, to) =>
    from + (to - from) * (Math.min(Math.max(v, low), high) - low) / (high - low);

  // The table of candidates belongs to the target that is shown.
  const rows = all(document, "#nearest tbody tr");
  const fitsCell = (row) => row.querySelector('[data-head="fits"]');

  const views = all(document, ".target").map((section) => {
    const target = section.dataset.target;
    const limits = all(section, "input[type=range]");
    const svg = section.querySelector("svg");
    const marks = all(section, "path[data-id]");

    const fits = (candidate) => limits.every((l) => {
      const v = valueOf(candidate, target, l.dataset.resource);
      if (l.dataset.resource === "tolerance") { return v !== null && v <= Number(l.value); }
      return v === null || v === undefined || isFree(l) || v <= Number(l.value);
    });

    const redraw = () => {
      limits.forEach((l) => {
        section.querySelector('output[for="' + l.id + '"]').textContent =
          isFree(l) ? "no limit" : quantity(Number(l.value), l.dataset.unit);
      });
      all(section, "text[data-limit]").forEach((text) => {
        const limit = limits.find((l) => l.dataset.resource === text.dataset.limit);
        text.textContent = isFree(limit) ? "no limit" :
          "limit " + quantity(Number(limit.value), limit.dataset.unit);
      });
      all(section, "line[data-limit]").forEach((line) => {
        const limit = limits.find((l) => l.dataset.resource === line.dataset.limit);
        const panel = line.closest(".panel").dataset;
        if (line.dataset.limit === "tolerance") {
          const y = placeOn(Number(limit.value), 0, Number(line.dataset.high),
            Number(line.dataset.bottom), Number(line.dataset.top));
          line.setAttribute("y1", y);
          line.setAttribute("y2", y);
        } else {
          const x = placeOn(Number(limit.value), Number(panel.low), Number(panel.high),
            Number(panel.from), Number(panel.to));
          line.setAttribute("x1", x);
          line.setAttribute("x2", x);
          line.classList.toggle("beyond",
            isFree(limit) || Number(limit.value) > Number(panel.high));
        }
      });
      const within = new Set(candidates.filter(fits).map((c) => String(c.id)));
      marks.forEach((m) => m.classList.toggle("fits", within.has(m.dataset.id)));
      rows.forEach((r) => { fitsCell(r).textContent = within.has(r.dataset.id) ? "yes" : "no"; });
      section.querySelector(".count").textContent = within.size + " of " + candidates.length +
        " candidates are within these limits on " + target + ".";
    };

    const detail = section.querySelector(".detail");
    const point = (id) => {
      const c = byID.get(id);
      marks.forEach((m) => m.classList.toggle("pointed", m.dataset.id === id));
      rows.forEach((r) => r.classList.toggle("pointed", r.dataset.id === id));
      const costs = limits.filter((l) => l.dataset.resource !== "tolerance")
        .map((l) => [l.dataset.resource, valueOf(c, target, l.dataset.resource), l.dataset.unit])
        .filter(([, v]) => v !== null && v !== undefined)
        .map(([name, v, unit]) => name + " " + quantity(v, unit));
      const parts = [
        "Number " + c.id + " (" + c.change + "): " + c.features + " features, " +
          c.units.join(" + ") + " units, " + c.formats,
        costs.join(", "),
        c.tolerance_used === null ? "no share of the tolerance bounds its loss" :
          Math.round(100 * c.tolerance_used) + " % of the tolerance may be used",
        fits(c) ? "within these limits" : "not within these limits",
      ];
      if (c.chosen) {
        parts.push("chosen");
      } else if (c.why) {
        parts.push("not chosen: " + c.why);
      }
      detail.textContent = parts.join("; ") + ".";
      detail.hidden = false;
    };

    marks.forEach((m) => {
      m.addEventListener("pointerenter", () => point(m.dataset.id));
      m.addEventListener("click", () => point(m.dataset.id));
    });

    // The arrow keys go along the frontier, from the least flash upwards.
    const along = candidates.filter((c) => c.on_frontier || c.chosen)
      .sort((a, b) => valueOf(a, target, "flash") - valueOf(b, target, "flash"))
      .map((c) => String(c.id));
    let at = -1;
    svg.setAttribute("tabindex", "0");
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (!step || along.length === 0) { return; }
      event.preventDefault();
      at = Math.min(Math.max(at + step, 0), along.length - 1);
      point(along[at]);
    });

    limits.forEach((l) => l.addEventListener("input", redraw));
    section.querySelector("button").addEventListener("click", () => {
      limits.forEach((l) => { l.value = l.dataset.start; });
      redraw();
    });
    return { section, redraw, point };
  });
  views.forEach((v) => v.redraw());
  choose(document.getElementById("target"), views.map((v) => v.section),
    (i) => views[i].redraw());
  rows.forEach((r) => r.addEventListener("pointerenter", () => {
    views.find((v) => !v.section.hidden).point(r.dataset.id);
  }));
})();
