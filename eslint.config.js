import js from "@eslint/js";
import globals from "globals";

const LINE = 120; // characters, as prettier breaks them
const FUNCTION = 60; // lines

export default [
  { ignores: ["**/*", "!desk/", "!desk/page/", "!desk/page/static/**", "!tests/", "!tests/javascript/**"] },
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      curly: ["error", "multi-line"],
      eqeqeq: "error",
      "max-len": ["error", LINE],
      "max-lines": ["error", 400],
      "max-lines-per-function": ["error", FUNCTION],
      "no-implicit-globals": "error",
      "no-shadow": "error",
      "no-unused-vars": ["error", { varsIgnorePattern: "^_+$" }],
      "no-use-before-define": ["error", { functions: false, variables: false }],
      "no-var": "error",
      "object-shorthand": "error",
      "prefer-const": "error",
      "prefer-template": "error",
    },
  },
  { files: ["desk/page/static/**"], languageOptions: { globals: globals.browser } },
  { files: ["tests/javascript/**"], languageOptions: { globals: globals.node } },
  { files: ["tests/javascript/text_faults.js"], languageOptions: { globals: globals.browser } },
];
