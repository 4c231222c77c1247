"""Modules of the page as one script: each runs once, before those that import it, and only in forms that are known."""

import shutil
import subprocess
from importlib.resources import files

import pytest

from propmatch.page.joined import joined


def test_modules_run_once_in_the_order_of_their_imports(tmp_path):
    """Run by another program's JavaScript, where there is one: names of two modules do not meet."""
    sources = {
        "a": """import { b as other, count } from "./b.js";
import "./c.js";
const name = "a";
console.log(name, other(), count.of);
""",
        "b": """import { name } from "./c.js";
export const count = { of: 1 };
export function b() { return `b ${name}`; }
count.of += 1;
""",
        "c": """export const name = "c";
console.log("once");
""",
    }
    script = joined("a", sources)
    assert script.index("const c_js") < script.index("const b_js") < script.index("const a_js")
    if shutil.which("node"):
        file = tmp_path / "one.mjs"
        file.write_text(script, encoding="utf-8")
        done = subprocess.run(["node", str(file)], capture_output=True, text=True, check=True)
        assert done.stdout == "once\na b c 2\n"


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ('import { a } from "./a.js";\n', "a imports a"),
        ('import * as all from "./b.js";\n', "import \\* as"),
        ("export default 1;\n", "export default"),
        ("export let a = 1;\n", "export let"),
    ],
)
def test_a_circle_and_forms_that_are_not_known_are_refused(source, words):
    with pytest.raises(ValueError, match=words):
        joined("a", {"a": source, "b": ""})


def test_every_module_of_the_page_is_joined():
    page = files("propmatch.page").joinpath("static")
    sources = {each.name[:-3]: each.read_text(encoding="utf-8") for each in page.iterdir() if each.name.endswith(".js")}
    script = joined("page", sources)
    assert [name for name in sources if f"const {name}_js = " not in script] == []
