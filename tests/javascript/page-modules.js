// Import the modules of the pages, and the cases that the server's code has written.

import { readFileSync } from "node:fs";
import { register } from "node:module";

register("./module-format.js", import.meta.url);

const STATIC_FOLDER = new URL("../../checks/static/checks/", import.meta.url);

export const importModule = (name) => import(new URL(name, STATIC_FOLDER));

export const cases = JSON.parse(readFileSync(new URL("cases.json", import.meta.url), "utf-8"));
