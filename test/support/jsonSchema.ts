import { Ajv2020 } from 'ajv/dist/2020.js';
import formats from 'ajv-formats';
import { expect } from 'vitest';

/** ajv, the reference validator for JSON Schema in this language, in its strict mode: what it complains of, or nothing. */
export function schemaValidator(schema: object): (value: unknown) => string {
  const ajv = new Ajv2020({ strict: true, allowUnionTypes: true, allErrors: true });
  formats.default(ajv);
  expect(ajv.validateSchema(schema)).toBe(true);
  const validate = ajv.compile(schema);
  return (value) => (validate(value) ? '' : ajv.errorsText(validate.errors));
}
