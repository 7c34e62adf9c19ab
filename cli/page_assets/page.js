"use strict";
(() => {
  const PAGE = 50;
  const GRADES = ["must", "should", "consider"];
  const INSTALLED = "installed";
  const byId = (id) => document.getElementById(id);
  const texts = JSON.parse(byId("texts").textContent);
  const number = new Intl.NumberFormat("en-GB");

  /* All text goes into the page as text: nothing that was written in a survey is ever read as HTML. */
  function el(name, attributes, ...children) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (value === true) made.setAttribute(key, "");
      else if (value !== false && value != null) made.setAttribute(key, value);
    }
    for (const child of children.flat(Infinity)) if (child != null && child !== "") made.append(child);
    return made;
  }
  const spaced = (word) => String(word).replaceAll("_", " ");
  const user = (text) => el("bdi", null, text);
  const badge = (grade) => el("span", { class: "grade g-" + grade }, spaced(grade));

  /* ---- the packed walls; the layout is told in cli/page_walls.py */

  let rows = 0;
  let columns = {};

  async function unpack() {
    const text = atob(byId("walls").textContent.replace(/\s+/g, ""));
    byId("walls").textContent = "";
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    const buffer = await new Response(stream).arrayBuffer();
    const length = new DataView(buffer).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
    const body = 4 + length;
    const even = (size) => Math.ceil(size / 8) * 8;
    rows = head.rows;
    columns = head.columns;
    for (const column of Object.values(columns)) {
      const at = body + column.at;
      if (column.kind === "coded") {
        const type = { 1: Uint8Array, 2: Uint16Array, 4: Uint32Array }[column.bytes];
        column.codes = new type(buffer, at, rows);
      } else if (column.kind === "number") {
        column.numbers = new Uint32Array(buffer, at, rows);
      } else if (column.kind === "bits") {
        column.data = [];
        for (let w = 0; w < column.words; w++) column.data.push(new Uint32Array(buffer, at + w * even(rows * 4), rows));
      } else {
        column.data = [];
        for (let w = 0; w < column.words; w++) column.data.push(new Uint32Array(buffer, at + w * rows * 8, rows * 2));
      }
    }
  }

  function value(name, row) {
    const column = columns[name];
    return column ? column.values[column.codes[row]] : null;
  }
  function bit(column, row, place) {
    return (column.data[place >> 5][row] >>> (place & 31)) & 1;
  }
  function members(name, row) {
    const column = columns[name];
    if (!column || bit(column, row, column.members.length)) return null;
    return column.members.filter((_, place) => bit(column, row, place));
  }
  function holds(row, place) {
    const word = columns.fired.data[place >> 6];
    return word ? (word[2 * row + ((place >> 5) & 1)] >>> (place & 31)) & 1 : 0;
  }
  function rulesOf(row) {
    return (texts.versions[value("rules", row)] || []).map((place) => texts.rules[place]);
  }
  const inForce = (row) => rulesOf(row).filter((_, place) => holds(row, place));
  function named(row, ids) {
    const wanted = new Set(ids || []);
    return rulesOf(row).filter((rule) => wanted.has(rule.id));
  }

  const points = () => Object.keys(columns).filter((n) => n.startsWith("finding.")).map((n) => n.slice(8));
  const sets = () => Object.keys(columns).filter((n) => n.startsWith("left_out.")).map((n) => n.slice(9));
  function titleOf(point) {
    if (point === INSTALLED) return "What was installed";
    const about = texts.choices[point] || texts.sets[point];
    return about ? about.title : spaced(point);
  }
  function option(point, name) {
    const choice = texts.choices[point === INSTALLED ? "medium" : point];
    return name == null ? "not recorded" : (choice && choice.options[name]) || spaced(name);
  }
  function recordedAt(point, row) {
    return point === INSTALLED ? value("installed", row) : value("recommended." + point, row);
  }
  function decidedAt(point, row) {
    return value("decided." + (point === INSTALLED ? "medium" : point), row);
  }

  /* ---- filters: each gives by row whether it stays, worked out on the few distinct values where there are such */

  function byCode(name, keep) {
    const column = columns[name];
    if (!column) return () => false;
    const kept = column.values.map(keep);
    return (row) => kept[column.codes[row]];
  }
  function atPoint(point, grade) {
    if (columns["left_out." + point]) {
      const column = columns["left_out." + point];
      const lacks = (row) => !bit(column, row, column.members.length) && column.members.some((_, p) => bit(column, row, p));
      const recorded = columns["recommended." + point];
      const known = (row) => !bit(recorded, row, recorded.members.length);
      if (!grade) return lacks;
      if (grade === "agree") return (row) => known(row) && !lacks(row);
      if (grade === "not_recorded") return (row) => !known(row);
      return byCode("left_out_grade." + point, (word) => word === grade);
    }
    const differs = byCode("finding." + point, (finding) => finding === "differs");
    if (!grade) return differs;
    if (!GRADES.includes(grade)) return byCode("finding." + point, (finding) => finding === grade);
    return byCode("grade." + point, (word) => word === grade);
  }
  function againstRule(id) {
    const spoken = points().map((point) => byCode("against." + point, (ids) => (ids || []).includes(id)));
    const asked = [];
    for (const [version, places] of Object.entries(texts.versions)) {
      const ofVersion = byCode("rules", (v) => v === version);
      places.forEach((at, place) => {
        const rule = texts.rules[at];
        if (rule.id !== id) return;
        for (const [set, member] of rule.adds) {
          const column = columns["left_out." + set];
          const bitOf = column ? column.members.indexOf(member) : -1;
          if (bitOf >= 0) asked.push((row) => bit(column, row, bitOf) && ofVersion(row) && holds(row, place));
        }
      });
    }
    return (row) => spoken.some((test) => test(row)) || asked.some((test) => test(row));
  }
  function withText(wanted) {
    const words = wanted.toLowerCase().split(/\s+/).filter(Boolean);
    /* Words may stand in different columns, so each is looked for in all of them. */
    const tests = words.map((word) =>
      ["reference", "wall", "note", "file", "sheet", "surveyor"].map((name) =>
        byCode(name, (text) => text != null && String(text).toLowerCase().includes(word))));
    return (row) => tests.every((some) => some.some((test) => test(row)));
  }

  const form = byId("filters");
  let shown = new Uint32Array(0);
  let page = 0;

  function chosen() {
    const at = form.elements;
    const tests = [];
    const text = at.text.value.trim();
    if (text) tests.push(withText(text));
    const grade = at.grade.value, point = at.point.value;
    if (point) tests.push(atPoint(point, grade));
    else if (grade) tests.push(byCode("worst", (worst) => worst === grade));
    const rule = at.rule.value.trim().toUpperCase();
    if (rule) tests.push(againstRule(rule));
    for (const name of ["surveyor", "construction", "outcome"]) {
      const wanted = at[name].value;
      if (wanted) tests.push(byCode(name, (found) => (found == null ? "-" : "=" + found) === wanted));
    }
    const year = at.year.value;
    if (year) tests.push(byCode("surveyed", (day) => (day == null ? "-" : "=" + day.slice(0, 4)) === year));
    return tests;
  }
  function filter() {
    const tests = chosen();
    const found = new Uint32Array(rows);
    let count = 0;
    for (let row = 0; row < rows; row++) {
      let stays = true;
      for (let t = 0; stays && t < tests.length; t++) stays = tests[t](row);
      if (stays) found[count++] = row;
    }
    shown = found.subarray(0, count);
    page = 0;
    list();
  }

  /* ---- the list */

  function summary(row) {
    const primary = value("primary", row) || [];
    const told = points().filter((p) => (primary.includes(p) || p === INSTALLED) && value("finding." + p, row) === "differs");
    const items = told.map((point) => el("li", null, el("b", null, value("grade." + point, row)), " ",
      titleOf(point), ": ", spaced(recordedAt(point, row)), "; the rules say ", spaced(decidedAt(point, row))));
    for (const set of sets()) {
      const left = members("left_out." + set, row);
      if (left && left.length)
        items.push(el("li", null, el("b", null, value("left_out_grade." + set, row)), " ", titleOf(set), ", left out: ",
          spaced(left.join(", "))));
    }
    return items.length ? el("ul", null, items) : "";
  }
  function place(row) {
    const sheet = value("sheet", row);
    return [user(value("file", row)), sheet ? [", ", user(sheet)] : "", ", row " + columns.row.numbers[row]];
  }
  function list() {
    const pages = Math.max(1, Math.ceil(shown.length / PAGE));
    page = Math.min(Math.max(page, 0), pages - 1);
    const few = shown.length === rows ? number.format(rows) : number.format(shown.length) + " of " + number.format(rows);
    byId("count").textContent = few + (rows === 1 ? " wall" : " walls");
    const body = [...shown.subarray(page * PAGE, (page + 1) * PAGE)].map((row) =>
      el("tr", { "data-row": row },
        el("th", { scope: "row" }, el("a", { href: "#w" + (row + 1) }, number.format(row + 1))),
        el("td", null, user(value("reference", row)), ", ", user(value("wall", row)), el("br"),
          el("span", { class: "small" }, place(row))),
        el("td", null, el("span", { class: "day" }, value("surveyed", row)), el("br"), user(value("surveyor", row) ?? "surveyor not given")),
        el("td", null, badge(value("worst", row))),
        el("td", null, summary(row))));
    const heads = ["No.", "Wall", "Surveyed", "Worst", "What differs"].map((name) => el("th", { scope: "col" }, name));
    byId("rows").replaceChildren(
      body.length ? el("table", null, el("thead", null, el("tr", null, heads)), el("tbody", null, body))
        : el("p", null, "No wall is left by these filters."));
    const button = (name, to, off) => {
      const made = el("button", { type: "button", disabled: off, "data-page": name.toLowerCase() }, name);
      made.addEventListener("click", () => {
        page = to;
        list();
        const again = byId("pager").querySelector('[data-page="' + name.toLowerCase() + '"]');
        (again.disabled ? byId("list-title") : again).focus();
      });
      return made;
    };
    byId("pager").replaceChildren(
      button("First", 0, page === 0), button("Previous", page - 1, page === 0),
      el("span", null, "Page " + number.format(page + 1) + " of " + number.format(pages)),
      button("Next", page + 1, page === pages - 1), button("Last", pages - 1, page === pages - 1));
    byId("pager").hidden = pages === 1;
  }

  byId("rows").addEventListener("click", (event) => {
    const line = event.target.closest("tr[data-row]");
    if (line && !event.target.closest("a") && !String(getSelection())) location.hash = "#w" + (Number(line.dataset.row) + 1);
  });

  function fill(name, pairs) {
    form.elements[name].replaceChildren(...pairs.map(([key, label]) => el("option", { value: key }, label)));
  }
  function distinct(name, of, unknown) {
    const found = new Set(columns[name] ? columns[name].values.map((v) => (v == null ? null : of(v))) : []);
    const known = [...found].filter((v) => v != null).sort();
    const pairs = [["", "any"], ...known.map((v) => ["=" + v, spaced(v)])];
    return found.has(null) ? [...pairs, ["-", unknown]] : pairs;
  }
  function fillFilters() {
    fill("grade", [["", "any"], ...[...GRADES, "not_decidable", "agree", "not_recorded"].map((g) => [g, spaced(g)])]);
    fill("point", [["", "the whole wall"], ...points().map((p) => [p, titleOf(p)]),
      ...sets().map((s) => [s, titleOf(s) + ": left out"])]);
    fill("surveyor", distinct("surveyor", String, "not given").map(([key, label]) => [key, key.startsWith("=") ? key.slice(1) : label]));
    fill("year", distinct("surveyed", (day) => day.slice(0, 4), "not known"));
    fill("construction", distinct("construction", String, "not known"));
    fill("outcome", distinct("outcome", String, "not recorded"));
    const titles = new Map(texts.rules.map((rule) => [rule.id, rule.title]).reverse());
    byId("rule-ids").replaceChildren(
      ...[...titles].sort().map(([id, title]) => el("option", { value: id }, id + " " + title)));
    form.hidden = false;
  }

  /* ---- one wall */

  const dialog = byId("wall");

  function ruleBox(rule, open) {
    const cites = rule.cites.map(([short, clause]) => short + (clause ? ", " + clause : "")).join("; ");
    return el("details", { class: "rule r-" + rule.word, open },
      el("summary", null, el("b", null, rule.id + " " + rule.word), " ", rule.title),
      el("p", null, rule.because),
      rule.limits ? el("p", null, "Limits: " + rule.limits) : "",
      el("p", { class: "small" }, "Sources: " + cites + ". Basis: " + spaced(rule.basis) + ", " + rule.certainty + " certainty."));
  }
  function pointsTable(row) {
    const body = points().map((point) => {
      const finding = value("finding." + point, row);
      const possible = value("possible." + (point === INSTALLED ? "medium" : point), row) || [];
      const decided = decidedAt(point, row);
      const others = possible.filter((name) => name !== decided);
      const follows = finding === "differs" && point !== INSTALLED && !(value("primary", row) || []).includes(point);
      return el("tr", null,
        el("th", { scope: "row" }, titleOf(point)),
        el("td", { "data-of": point === INSTALLED ? "Installed" : "Recommended" }, option(point, recordedAt(point, row))),
        el("td", { "data-of": "Decided" }, option(point, decided),
          others.length ? el("div", { class: "small" }, "could still be: " + others.map((name) => option(point, name)).join("; ")) : ""),
        el("td", { "data-of": "Finding" }, badge(finding === "differs" ? value("grade." + point, row) : finding),
          follows ? el("div", { class: "small" }, "follows from an earlier difference") : ""));
    });
    const heads = ["Choice", "Recommended, or installed", "Decided from the facts", "Finding"];
    return el("div", { class: "scrolls" }, el("table", { class: "points" },
      el("thead", null, el("tr", null, heads.map((name) => el("th", { scope: "col" }, name)))), el("tbody", null, body)));
  }
  function differences(row) {
    const made = [];
    for (const point of points()) {
      if (value("finding." + point, row) !== "differs") continue;
      const grade = value("grade." + point, row);
      const against = named(row, value("against." + point, row));
      made.push(el("h3", null, badge(grade), " ", titleOf(point)),
        el("p", null, (point === INSTALLED ? "Installed: “" : "Recommended: “") + option(point, recordedAt(point, row)) +
          "”. The rules say: “" + option(point, decidedAt(point, row)) + "”."),
        against.length ? against.map((rule) => ruleBox(rule, true))
          : el("p", null, "No rule speaks against it by itself; it only comes later in the order of preference."));
    }
    for (const set of sets()) {
      const left = members("left_out." + set, row), beyond = members("beyond." + set, row) || [];
      const says = (member) => ((texts.sets[set] || { members: {} }).members[member] || spaced(member));
      if (left && left.length) {
        const word = value("left_out_grade." + set, row);
        made.push(el("h3", null, word ? badge(word) : "", " ", titleOf(set) + ": left out" +
          (word ? "" : " (follows from a difference above)")));
        for (const member of left) {
          const asking = inForce(row).filter((rule) => rule.adds.some(([name, each]) => name === set && each === member));
          made.push(el("p", null, el("b", null, says(member))), el("div", { class: "asking" }, asking.map((rule) => ruleBox(rule, false))));
        }
      }
      const open = members("called_for_now." + set, row) || [];
      if (open.length)
        made.push(el("h3", null, titleOf(set) + ": not decidable, called for on what is known so far"),
          el("ul", null, open.map((member) => el("li", null, says(member)))));
      if (beyond.length)
        made.push(el("h3", null, titleOf(set) + ": more than any rule asks for"),
          el("ul", null, beyond.map((member) => el("li", null, says(member)))));
    }
    return made;
  }
  function recommendedSets(row) {
    const items = sets().map((set) => {
      const says = (member) => ((texts.sets[set] || { members: {} }).members[member] || spaced(member));
      const recommended = members("recommended." + set, row);
      const decided = new Set(inForce(row).flatMap((rule) => rule.adds.filter(([name]) => name === set).map(([, m]) => m)));
      const told = (several) => (several.length ? el("ul", null, several.map((m) => el("li", null, says(m)))) : "none");
      return el("tr", null, el("th", { scope: "row" }, titleOf(set)),
        el("td", { "data-of": "Recommended" }, recommended ? told(recommended) : "not recorded"),
        el("td", { "data-of": "Asked for" }, told([...decided])));
    });
    const heads = ["Set", "Recommended", "Asked for by the rules that hold"].map((name) => el("th", { scope: "col" }, name));
    return el("details", null, el("summary", null, "Works, tests, notices, cautions and causes side by side"),
      el("div", { class: "scrolls" }, el("table", { class: "points" }, el("thead", null, el("tr", null, heads)),
        el("tbody", null, items))));
  }
  function about(row) {
    const known = (name, say) => (value(name, row) == null ? "" : el("li", null, say(value(name, row))));
    return el("ul", null,
      el("li", null, place(row)),
      el("li", null, "Surveyed on " + value("surveyed", row) + ", ",
        value("surveyor", row) == null ? "surveyor not given" : ["by ", user(value("surveyor", row))]),
      known("construction", (v) => "Construction: " + spaced(v)),
      known("age", (v) => "Built: " + spaced(v)),
      known("note", (v) => ["Note: ", user(v)]),
      el("li", null, "Judged by rules " + value("rules", row) + "; " + value("status", row)),
      known("installed", (v) => "Installed: " + option("medium", v) + (value("installed_on", row) ? ", on " + value("installed_on", row) : "")),
      el("li", null, value("outcome", row) == null ? "No outcome is recorded" :
        "Turned out: " + value("outcome", row) + (value("outcome_on", row) ? ", on " + value("outcome_on", row) : "")),
      known("over_specified", (v) => "A cheaper medium stands: " + option("medium", v)));
  }
  function open(row) {
    const at = shown.indexOf(row);
    const step = (name, to) => {
      const made = el("button", { type: "button", disabled: to === undefined }, name);
      made.addEventListener("click", () => { location.hash = "#w" + (to + 1); });
      return made;
    };
    const close = el("button", { type: "button" }, "Close");
    close.addEventListener("click", () => dialog.close());
    const hold = inForce(row);
    const made = differences(row);
    const parts = [
      el("div", { class: "tools" }, close, step("Previous", at > 0 ? shown[at - 1] : undefined),
        step("Next", at >= 0 && at + 1 < shown.length ? shown[at + 1] : undefined)),
      el("h2", { id: "wall-title", tabindex: "-1" }, "No. " + number.format(row + 1) + ": ", user(value("reference", row)), ", ",
        user(value("wall", row)), " ", badge(value("worst", row))),
      about(row),
      el("p", { class: "limits" }, texts.limits),
      el("h3", null, "Recommended beside decided"),
      pointsTable(row),
      points().some((point) => value("finding." + point, row) === "not_decidable")
        ? el("p", { class: "deciding" }, "Which facts would decide it: ", el("code", { class: "command" }, texts.deciding)) : "",
      made.length ? made : el("p", null, "Nothing differs."),
      recommendedSets(row),
      el("h3", null, "The rules that hold (" + hold.length + ")"),
      hold.map((rule) => ruleBox(rule, false)),
    ];
    dialog.replaceChildren(...parts.flat(Infinity));
    if (!dialog.open) dialog.showModal();
    document.body.classList.add("one-wall");
    dialog.scrollTop = 0;
    byId("wall-title").focus({ preventScroll: true });
  }
  window.addEventListener("beforeprint", () => {
    for (const asking of dialog.querySelectorAll(".asking details")) asking.open = true;
  });
  dialog.addEventListener("close", () => {
    document.body.classList.remove("one-wall");
    const left = location.hash;
    if (/^#w\d+$/.test(left)) {
      history.replaceState(null, "", location.pathname + location.search);
      const link = document.querySelector('#rows a[href="' + left + '"]');
      if (link) link.focus();
    }
  });

  /* ---- what the address asks for: #w12 is a wall, #list?grade=must a filtered list */

  function follow() {
    const wall = /^#w(\d+)$/.exec(location.hash);
    if (wall && wall[1] >= 1 && wall[1] <= rows) return open(wall[1] - 1);
    if (dialog.open) dialog.close();
    const asked = /^#list\?(.*)$/.exec(location.hash);
    if (!asked) return undefined;
    form.reset();
    for (const [name, wanted] of new URLSearchParams(asked[1].replaceAll("+", "%2B"))) {
      const field = form.elements[name];
      if (!field) continue;
      field.value = ["surveyor", "year", "construction", "outcome"].includes(name) ? (wanted ? "=" + wanted : "-") : wanted;
    }
    filter();
    byId("list-title").scrollIntoView();
    byId("list-title").focus({ preventScroll: true });
    return undefined;
  }

  async function start() {
    if (typeof DecompressionStream === "undefined") {
      byId("count").textContent = "This browser is too old to unpack the walls. They are all in walls.csv.";
      return;
    }
    await unpack();
    fillFilters();
    filter();
    let waiting = 0;
    form.addEventListener("input", () => {
      clearTimeout(waiting);
      waiting = setTimeout(filter, 120);
    });
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("reset", () => setTimeout(filter, 0));
    window.addEventListener("hashchange", follow);
    follow();
    document.body.dataset.ready = "yes";
  }
  start().catch((error) => {
    byId("count").textContent = "The walls could not be unpacked: " + error.message + ". They are all in walls.csv.";
  });
})();
