// Every number of the brief by hand: tables of single keys, and lists such as phases and builds.
import { ask, refresh } from "./asking.js";
import { complain } from "./faults.js";
import { button, panel, said } from "./panels.js";
import { $, make, on, state } from "./state.js";

const FIRST = ["phase", "wing", "variant"];
let values = {}, leftOut = {}, tables = [];

on("brief", async (answer) => {
  ({ values, left_out: leftOut } = answer);
  if (!tables.length) {
    const form = await ask("form");
    if (tables.length) return;
    build(form.tables);
    tables.push({ show: controls(form.units) });
  }
  for (const each of tables) each.show();
});

const TITLES = { phase: "How it is flown: phases", variant: "Builds of the aircraft", item: "What it is made of", structure: "Printed parts" };
const ONE = { phase: "a phase", variant: "a build", item: "an item", structure: "a printed part", motor_place: "a motor" };
const title = (each) => TITLES[each.name] ?? each.title[0].toUpperCase() + each.title.slice(1);

function build(all) {
  const place = (each, group) => {
    const { whole, body } = panel(group, `form-${each.name}`, title(each), { wide: each.many });
    body.append(said(`${each.doc[0].toUpperCase()}${each.doc.slice(1)}.`));
    tables.push(each.many ? list(each, body) : single(each, body));
    return whole;
  };
  for (const name of FIRST) place(all.find((each) => each.name === name), "brief-panels");
  const rest = panel("brief-panels", "form-rest", "Every other number of the brief", { wide: true });
  rest.body.classList.add("panels");
  for (const each of all.filter(({ name }) => !FIRST.includes(name))) place(each, rest.body);
}

function change(key, value) {
  values = { ...values, [key]: value };
  state.changes[key] = value;
  refresh();
  for (const each of tables) each.show();
}

const word = (text) => (text.trim() !== "" && Number.isFinite(Number(text)) ? Number(text) : text.trim());

// A field of a key: a box to fill in, a choice, or a tick.
function control(field, id, label) {
  const shared = { id, "aria-label": [label, field.unit && `in ${field.unit}`].filter(Boolean).join(" "), title: `${field.doc}; ${field.rule}` };
  if (field.kind === "flag") return make("input", { ...shared, type: "checkbox" });
  if (field.kind === "choice") return make("select", shared, make("option", { value: "" }, ""), ...field.options.map((each) => make("option", { value: each }, each)));
  const numeric = ["number", "integer"].includes(field.kind) && !field.list;
  const made = make("input", { ...shared, size: numeric ? 7 : 16, ...(numeric ? { inputmode: "decimal" } : {}), ...(field.options.length ? { list: `${id}-words` } : {}) });
  if (field.default !== null && field.kind !== "text") made.placeholder = field.default;
  return made;
}

function read(field, input) {
  if (field.kind === "flag") return input.checked;
  const text = input.value.trim();
  if (text === "") return null;
  if (field.list) return text.split(/[\s,]+/).filter(Boolean).map(word);
  return ["text", "choice"].includes(field.kind) ? text : word(text.replace(/^(-?\d+),(\d+)$/, "$1.$2"));
}

function write(field, input, value) {
  if (document.activeElement === input) return;
  if (field.kind === "flag") input.checked = value === true;
  else input.value = Array.isArray(value) ? value.join(", ") : value ?? "";
}

const words = (field, id) => (field.options.length && field.kind === "words or number" ? [make("datalist", { id: `${id}-words` }, ...field.options.map((each) => make("option", { value: each })))] : []);

function single(each, body) {
  const fields = each.fields.map((field) => {
    const key = `${each.name}.${field.name}`, id = `at-${key}`, input = control(field, id, field.label);
    input.dataset.key = key;
    input.addEventListener("change", () => change(key, read(field, input)));
    const left = make("small");
    body.append(make("div", { class: "field" }, make("label", { for: id }, field.label), make("span", { class: "gap" }, input, field.unit ? ` ${field.unit}` : ""), ...words(field, id), make("small", {}, field.doc), left));
    return { field, key, input, left };
  });
  return { show: () => { for (const { field, key, input, left } of fields) { write(field, input, values[key]); left.textContent = (values[key] ?? null) === null && leftOut[key] ? `left out: ${leftOut[key]}` : ""; } } };
}

function list(each, body) {
  const fields = [...each.fields].sort((one, other) => (other.name === "name") - (one.name === "name")), table = make("table", { class: "edit" }), add = button(`Add ${ONE[each.name]}`, () => change(each.name, [...rows(), first()]), { id: `add-${each.name}` });
  body.append(make("div", { class: "scroll", role: "region", tabindex: "0", "aria-label": title(each) }, table), make("p", {}, add));
  let drawn = -1;
  const rows = () => structuredClone(values[each.name] ?? []);
  const first = () => ({
    ...Object.fromEntries(each.fields.filter((field) => field.required).map((field) => [field.name, field.kind === "text" ? `${each.title} ${rows().length + 1}` : field.options[0] ?? 1])),
    ...(each.name === "phase" ? { throttle: 0.5, share: 1 } : {}),
  });

  function draw(count) {
    const head = make("tr", {}, ...fields.map((field) => make("th", { scope: "col", title: field.doc }, [field.label, field.unit].filter(Boolean).join(", "))), make("td", {}));
    table.replaceChildren(make("thead", {}, head), make("tbody", {}, ...Array.from({ length: count }, (_, at) => {
      const cells = fields.map((field) => {
        const key = `${each.name}[${at + 1}].${field.name}`, id = `at-${key}`, input = control(field, id, `${field.label} of ${each.title} ${at + 1}`);
        input.dataset.key = key;
        input.addEventListener("change", () => { const now = rows(); const value = read(field, input); if (value === null) delete now[at][field.name]; else now[at][field.name] = value; change(each.name, now); });
        return make("td", {}, input, ...words(field, id));
      });
      const move = (by) => { const now = rows(); now.splice(at + by, 0, ...now.splice(at, 1)); change(each.name, now); };
      const up = button("up", () => move(-1), { "aria-label": `move ${each.title} ${at + 1} up` });
      up.disabled = at === 0;
      const drop = button("remove", () => { const now = rows(); now.splice(at, 1); change(each.name, now); }, { "aria-label": `remove ${each.title} ${at + 1}` });
      return make("tr", {}, ...cells, make("td", {}, up, " ", drop));
    })));
    drawn = count;
  }

  return { show: () => {
    const now = rows();
    if (now.length !== drawn) draw(now.length);
    now.forEach((row, at) => { for (const field of fields) write(field, $(`at-${each.name}[${at + 1}].${field.name}`), row[field.name]); });
  } };
}

// ------------------------------------------------------------ short controls beside the sliders

// A button for each cell count under the field that says the same; none pressed means any.
function controls(systems) {
  const cells = [1, 2, 3, 4, 5, 6].map((count) => button(`${count}S`, () => {
    const now = values["limits.cells"];
    change("limits.cells", now.includes(count) ? now.filter((each) => each !== count) : [...now, count].sort());
  }, { "aria-pressed": "false", "data-count": count }));
  $("cells").closest(".control").append(make("div", { id: "cell-buttons", role: "group", "aria-label": "cells in series; none pressed means any" }, ...cells));
  $("units").append(...Object.keys(systems).map((each) => make("option", { value: each }, each)), make("option", { value: "", hidden: "" }, "mixed"));
  $("units").addEventListener("change", () => { for (const [key, unit] of Object.entries(systems[$("units").value])) change(key, unit); });
  return () => {
    for (const each of cells) each.setAttribute("aria-pressed", String(values["limits.cells"]?.includes(Number(each.dataset.count))));
    $("units").value = Object.keys(systems).find((name) => Object.entries(systems[name]).every(([key, unit]) => values[key] === unit)) ?? "";
  };
}
