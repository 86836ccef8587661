// Rules for the JavaScript of the pages: modules in a browser, one classic service worker,
// and the tests that node runs. Run from the top level, so that every folder is in reach.

import js from "@eslint/js";
import globals from "globals";

const RULES = {
  curly: ["error", "multi-line"],
  eqeqeq: "error",
  "func-style": ["error", "declaration", { allowArrowFunctions: true }],
  "max-len": ["error", { code: 120 }],
  "no-implicit-globals": "error",
  "no-shadow": "error",
  "no-unused-vars": "error",
  "no-var": "error",
  "object-shorthand": "error",
  "prefer-const": "error",
  "prefer-template": "error",
};

export default [
  { ignores: ["**/node_modules/**", "**/.venv/**"] },
  { ...js.configs.recommended, files: ["**/*.js"] },
  {
    files: ["**/static/**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: globals.browser },
    rules: RULES,
  },
  {
    files: ["**/service-worker.js"],
    languageOptions: {
      sourceType: "script",
      globals: { ...globals.serviceworker, OFFLINE: "readonly" },
    },
    rules: { "no-implicit-globals": "off" },
  },
  {
    files: ["tests/javascript/**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: globals.nodeBuiltin },
    rules: RULES,
  },
];
