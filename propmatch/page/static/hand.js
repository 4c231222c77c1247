// What is done by hand, in panels of their own.
import "./forms.js";
import "./picking.js";
import "./tables.js";
import "./whys.js";
import "./curves.js";
import "./families.js";
import "./downloads.js";
import "./sheet.js";
