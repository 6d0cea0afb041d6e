import * as z from 'zod';

/** How a record is published beside its fields. */
export interface Publication {
  /** In its $id: urn:starplumb:NAME:VERSION. */
  readonly name: string;
  readonly version: number;
  readonly title: string;
  readonly description: string;
}

/**
 * A record's schema as JSON Schema (draft 2020-12), for readers in other languages. It describes what the program itself takes:
 * fields added later are optional, so that an older record fits, and unknown ones are allowed, so that a newer record does.
 */
export function jsonSchemaOf(schema: z.ZodType, { name, version, title, description }: Publication): object {
  const { $schema, ...rest } = z.toJSONSchema(schema, { target: 'draft-2020-12', io: 'input' });
  return { $schema, $id: `urn:starplumb:${name}:${version}`, title, description, ...rest };
}
